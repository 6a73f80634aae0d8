"""The lowest lumbar vertebrae, so that a pelvic film does not end in nothing above the sacrum.

Built from ellipses and rounded rods on top of the sacrum; scenery, never measured.
"""

import numpy as np
from skimage.measure import marching_cubes

from hipwright.phantoms.cortex import hollowed
from hipwright.phantoms.film_bodies import Bone, Part, Skeleton
from hipwright.phantoms.film_setup import turn
from hipwright.phantoms.projection import Array
from hipwright.phantoms.surfaces import TriangleSurface

_GRID_MM = 1.6
_SLOPE_DEG = 34.0  # of the sacral plate
_STEP_DEG = 12.0  # how much each vertebra up is less inclined
_ENDPLATE_MM = 0.9
_MIDLINE_MM = 8.0


def _rod(points: Array, start: tuple[float, ...], end: tuple[float, ...], radius: float) -> Array:
    a, b = np.array(start), np.array(end)
    t = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    return np.linalg.norm(points - a - t[..., None] * (b - a), axis=-1) - radius


def _ball(points: Array, center: tuple[float, ...], radii: tuple[float, ...]) -> Array:
    return (np.linalg.norm((points - np.array(center)) / radii, axis=-1) - 1) * min(radii)


def _blend(one: Array, two: Array, width: float) -> Array:
    h = np.clip(0.5 + 0.5 * (two - one) / width, 0, 1)
    return two * (1 - h) + one * h - width * h * (1 - h)


def vertebra(size: float = 1.0) -> TriangleSurface:
    """Give a lumbar vertebra about the center of its body, endplates level, mm."""
    axes = [np.arange(-half, half + back, _GRID_MM) for half, back in ((52, 0), (26, 48), (30, 0))]
    x, y, z = np.meshgrid(*axes, indexing="ij")
    points = np.stack([np.abs(x), y, z], axis=-1)  # both halves at once
    waist = 1 - 0.10 * np.clip(1 - (z / 12.5) ** 2, 0, 1)
    ring = (np.hypot(x / (24.5 * waist), (y + 1) / (17.0 * waist)) - 1) * 17.0
    field = -_blend(-ring, -(np.abs(z) - 13.5), 3.0)  # rounded rims
    arch = _rod(points, (11, 12, 5), (13, 28, 3), 5.0)
    for part in (
        _rod(points, (13, 25, 3), (26, 27, 4), 5.0),
        _ball(points, (30, 27.5, 5), (16.0, 4.0, 6.0)),
        _rod(points, (13, 29, 3), (2, 40, -5), 4.5),
        _ball(points, (15, 31, 13), (6.0, 7.0, 11.0)),
        _ball(points, (14, 36, -15), (6.5, 6.0, 11.0)),
    ):
        arch = _blend(arch, part, 5.0)
    spine = _blend(
        _ball(points, (0, 50, -8), (3.6, 19.0, 9.0)),
        _ball(points, (0, 62, -10), (5.0, 7.0, 9.0)),
        5.0,
    )
    field = _blend(_blend(field, arch, 4.0), spine, 6.0)
    vertices, faces, _, _ = marching_cubes(field, 0.0, spacing=(_GRID_MM, _GRID_MM, _GRID_MM))
    surface = TriangleSurface(
        vertices=(np.asarray(vertices, dtype=np.float64) + [axis[0] for axis in axes]) * size,
        faces=np.asarray(faces, dtype=np.int32),
    )
    if surface.volume_mm3 < 0:
        surface = TriangleSurface(vertices=surface.vertices, faces=surface.faces[:, ::-1])
    return surface


def lumbar_spine(skeleton: Skeleton, *, count: int = 2) -> tuple[Bone, ...]:
    """Stack vertebrae on the sacrum; nothing when the skeleton has none."""
    sacra = [bone for bone in skeleton.bones if "sacrum" in bone.name]
    if not sacra:
        return ()
    points = sacra[0].outer.vertices
    middle = points[np.abs(points[:, 0] - np.median(points[:, 0])) < _MIDLINE_MM]
    high = middle[middle[:, 2] > middle[:, 2].max() - 22]
    promontory = high[high[:, 1].argmin()]
    slope = _SLOPE_DEG
    bones: list[Bone] = []
    along = turn(0, slope) @ np.array([0.0, 1.0, 0.0])
    normal = turn(0, slope) @ np.array([0.0, 0.0, 1.0])
    place = promontory + 16.0 * along + 4.0 * normal
    form = vertebra()
    inner = hollowed(form, _ENDPLATE_MM)
    for number in range(count):
        rotation = turn(0, slope)
        center = place + rotation @ np.array([0.0, 0.0, 15.0])
        bones.append(
            Bone(
                name=f"lumbar {5 - number}",
                part=Part.PELVIS,
                outer=form.moved(rotation, center),
                inner=inner.moved(rotation, center),
            )
        )
        place = center + rotation @ np.array([0.0, 0.0, 23.0])
        slope -= _STEP_DEG
    return tuple(bones)
