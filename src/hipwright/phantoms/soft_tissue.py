"""The body around the bones: skin, fat, muscles, bladder and bowel gas.

The envelope is the level set of a smooth union of a superelliptic torso and
tapering thighs laid around the bones; nothing in it is taken from a person.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from skimage.measure import marching_cubes
from trimesh.creation import icosphere  # pyright: ignore[reportUnknownVariableType] (trimesh has no types here)

from hipwright.domain.side import Side
from hipwright.phantoms import attenuation
from hipwright.phantoms.projection import Array
from hipwright.phantoms.surfaces import Faces, TriangleSurface

_GRID_MM = 6.0
_BLEND_MM = 22.0
_ROOM_BELOW_MM = np.array([240.0, 170.0, 150.0])
_ROOM_ABOVE_MM = np.array([240.0, 170.0, 330.0])
_THIGH_MM = 420.0
_SQUARENESS = 2.8
_LEVELS_MM = [-150.0, -125.0, -95.0, -55.0, 0.0, 70.0, 150.0, 300.0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Build:
    """How a body is built; millimeters."""

    hip_half_width_mm: float = 185.0
    waist_half_width_mm: float = 150.0
    depth_half_mm: float = 108.0
    thigh_radius_mm: float = 82.0
    fat_mm: float = 20.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solid:
    """A closed surface and what it adds to the attenuation of what surrounds it, per mm."""

    name: str
    surface: TriangleSurface
    contrast_per_mm: float


def _smooth_min(one: Array, two: Array) -> Array:
    h = np.clip(0.5 + 0.5 * (two - one) / _BLEND_MM, 0, 1)
    return two * (1 - h) + one * h - _BLEND_MM * h * (1 - h)


def _waves(shape: tuple[int, ...], size: float, rng: np.random.Generator) -> Array:
    noise = np.asarray(gaussian_filter(rng.standard_normal(shape), size), dtype=np.float64)
    return noise / noise.std()


def _capsule(points: Array, start: Array, end: Array, r0: float, r1: float) -> Array:
    along = end - start
    t = np.clip((points - start) @ along / (along @ along), 0, 1)
    return np.linalg.norm(points - start - t[..., None] * along, axis=-1) - (r0 + (r1 - r0) * t)


def _level_set(values: Array, origin: Array) -> TriangleSurface:
    padded = np.pad(values, 1, constant_values=float(values.max()) + 50.0)
    vertices, faces, _, _ = marching_cubes(padded, 0.0, spacing=(_GRID_MM, _GRID_MM, _GRID_MM))
    places = np.asarray(vertices, dtype=np.float64) + origin - _GRID_MM
    surface = TriangleSurface(vertices=places, faces=np.asarray(faces, dtype=np.int32))
    if surface.volume_mm3 < 0:
        surface = TriangleSurface(vertices=places, faces=surface.faces[:, ::-1])
    return surface


def _torso(x: Array, y: Array, z: Array, build: Build) -> Array:
    """Signed distance, roughly, to a superelliptic trunk that tapers into the perineum."""
    half, depth, waist = build.hip_half_width_mm, build.depth_half_mm, build.waist_half_width_mm
    wide_at = [10.0, 45.0, 95.0, 0.9 * half, half, 0.96 * half, waist, waist]
    deep_at = [8.0, 35.0, 65.0, 0.86 * depth, depth, depth, 0.94 * depth, 0.93 * depth]
    wide, deep = (
        gaussian_filter1d(np.interp(z, _LEVELS_MM, at), 18.0 / _GRID_MM, axis=2)
        for at in (wide_at, deep_at)
    )
    ring = (np.abs(x / wide) ** _SQUARENESS + np.abs(y / deep) ** _SQUARENESS) ** (1 / _SQUARENESS)
    return (ring - 1) * np.minimum(wide, deep)


def body_envelope(
    *,
    heads_mm: Mapping[Side, Array],
    shafts: Mapping[Side, Array],
    build: Build,
    rng: np.random.Generator,
) -> tuple[Solid, Solid]:
    """Give skin and muscle envelopes around posed hips.

    Parameters
    ----------
    heads_mm
        Centers of the heads, by side.
    shafts
        Unit vectors down the posed femoral shafts, by side.
    build
        Measures of the body.
    rng
        Lets fat and outline vary.
    """
    middle = np.mean([heads_mm[side] for side in Side], axis=0)
    outward = {side: np.array([1.0 if side is Side.LEFT else -1.0, 0, 0]) for side in Side}
    ends = {s: heads_mm[s] + 22.0 * outward[s] + _THIGH_MM * shafts[s] for s in Side}
    corners = np.array([*ends.values(), middle])
    low = corners.min(axis=0) - _ROOM_BELOW_MM
    high = corners.max(axis=0) + _ROOM_ABOVE_MM
    axes = [np.arange(low[k], high[k], _GRID_MM) for k in range(3)]
    x, y, z = np.meshgrid(*axes, indexing="ij", sparse=True)
    y_front_back = y - middle[1] - 12.0
    body = _torso(x - middle[0], y_front_back, z - middle[2], build)
    points = np.stack(np.broadcast_arrays(x, y, z), axis=-1)
    for side in Side:
        start = heads_mm[side] + 8.0 * outward[side] + (0.0, 10.0, 0.0)
        radius = build.thigh_radius_mm
        body = _smooth_min(body, _capsule(points, start, ends[side], radius, 0.72 * radius))
    body = body + 2.5 * _waves(body.shape, 6.0, rng)
    thickness = build.fat_mm * (1 + 0.22 * _waves(body.shape, 4.0, rng))
    thickness = np.maximum(thickness + 0.10 * np.clip(y_front_back, 0, 90), 6.0)
    skin = _level_set(body, low)
    flesh = _level_set(body + thickness, low)
    softer = attenuation.SOFT - attenuation.FAT
    return (
        Solid(name="skin", surface=skin, contrast_per_mm=attenuation.FAT),
        Solid(name="flesh", surface=flesh, contrast_per_mm=softer),
    )


@cache
def _unit_ball(detail: int) -> tuple[Array, Faces]:
    ball: Any = icosphere(subdivisions=detail, radius=1.0)
    return np.array(ball.vertices, dtype=np.float64), np.array(ball.faces, dtype=np.int32)


def lump(
    *,
    start: Array,
    end: Array,
    radius_mm: float,
    flatten: tuple[float, float, float] = (1.0, 1.0, 1.0),
    roughness: float = 0.08,
    rng: np.random.Generator,
    detail: int = 4,
) -> TriangleSurface:
    """Give a spindle or a lumpy ball between two points, its surface gently uneven."""
    unit, faces = _unit_ball(detail)
    uneven = np.ones(len(unit))
    for octave in range(2, 5):
        waves = rng.standard_normal((3, 3)) * octave
        phase = rng.uniform(0, 2 * np.pi, 3)
        uneven += roughness / octave * np.sin(unit @ waves.T + phase).sum(axis=1)
    half = (np.asarray(end) - start) / 2
    length = float(np.linalg.norm(half))
    offset = unit * uneven[:, None] * radius_mm * np.asarray(flatten)
    if length > 0:
        offset = offset + np.outer(unit @ half / length, half)
    return TriangleSurface(
        vertices=(np.asarray(start) + end) / 2 + offset,
        faces=faces,
    )


def muscles(
    *, heads_mm: Mapping[Side, Array], shafts: Mapping[Side, Array], rng: np.random.Generator
) -> tuple[Solid, ...]:
    """Give the large muscles about both hips and the bladder, a little denser than the rest."""
    solids: list[Solid] = []
    denser = attenuation.MUSCLE - attenuation.SOFT
    for side in Side:
        out = np.array([1.0 if side is Side.LEFT else -1.0, 1.0, 1.0])
        head, shaft = np.asarray(heads_mm[side]), np.asarray(shafts[side])

        def place(
            right: float, back: float, up: float, out: Array = out, head: Array = head
        ) -> Array:
            return head + out * (right, back, up)

        spindles = [  # start, end, radius, flattening
            (place(-48, 10, 190), place(4, -18, -20), 24.0, (1, 1, 1)),  # iliopsoas
            (place(38, 15, 118), place(58, 8, -8), 20.0, (1.5, 1.8, 1)),  # gluteus medius
            (place(-5, 75, 110), place(55, 55, -60), 26.0, (1.8, 1.0, 1)),  # gluteus maximus
            (place(35, -38, 60), place(30, -45, -110), 20.0, (1, 1, 1)),  # front of the thigh
            (place(-42, 0, -45), head + shaft * 230 + out * (10, 10, 0), 30.0, (1, 1.2, 1)),
            (head + shaft * 30 + out * (38, 0, 0), head + shaft * 330 + out * (42, 0, 0), 24.0,
             (1, 1.5, 1)),
            (place(-30, 70, -40), head + shaft * 300 + out * (10, 40, 0), 26.0, (1, 1, 1)),
            (place(-34, 30, 32), place(-30, 28, -30), 8.0, (1, 2.0, 1)),  # obturator internus
        ]  # fmt: skip
        for index, (start, end, radius, flat) in enumerate(spindles):
            surface = lump(start=start, end=end, radius_mm=radius, flatten=flat, rng=rng)
            solids.append(
                Solid(name=f"muscle {index} {side}", surface=surface, contrast_per_mm=1.3 * denser)
            )
    middle = np.mean([heads_mm[side] for side in Side], axis=0)
    bladder = lump(
        start=middle + np.array([-18, -22, 22]),
        end=middle + np.array([18, -22, 24]),
        radius_mm=float(rng.uniform(22, 34)),
        flatten=(1, 1, 0.75),
        rng=rng,
    )
    solids.append(Solid(name="bladder", surface=bladder, contrast_per_mm=0.8 * denser))
    return tuple(solids)


def bowel_gas(
    *, middle_mm: Array, rng: np.random.Generator, amount: float = 1.0
) -> tuple[Solid, ...]:
    """Give gas in the bowel: rounded clusters above and beside the sacrum, some in the rectum."""
    solids: list[Solid] = []
    centers = [
        (rng.uniform(-85, -50), -35.0, rng.uniform(100, 150)),
        (rng.uniform(50, 85), -30.0, rng.uniform(90, 150)),
        (rng.uniform(-30, 30), -25.0, rng.uniform(110, 165)),
        (rng.uniform(-10, 10), 45.0, rng.uniform(38, 58)),
    ]
    for number, center in enumerate(centers):
        start = np.asarray(middle_mm) + center
        heading = rng.normal(0, 1, 3) * (1.0, 0.3, 1.0)
        for _ in range(int(rng.integers(4, 9))):
            heading = heading + rng.normal(0, 0.7, 3) * (1.0, 0.3, 1.0)
            heading = heading / np.linalg.norm(heading)
            radius = float(rng.uniform(5, 10.5))
            surface = lump(
                start=start,
                end=start + heading * radius * 0.6,
                radius_mm=radius,
                flatten=(1.0, 0.8, 1.0),
                roughness=0.14,
                rng=rng,
                detail=3,
            )
            start = start + heading * radius * 1.5
            share = amount * rng.uniform(0.25, 0.6)
            solids.append(
                Solid(
                    name=f"gas {number}",
                    surface=surface,
                    contrast_per_mm=-share * attenuation.SOFT,
                )
            )
    return tuple(solids)
