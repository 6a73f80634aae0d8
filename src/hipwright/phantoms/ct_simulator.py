"""CT volumes of bones in a body, with their true geometry."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from trimesh.creation import box  # pyright: ignore[reportUnknownVariableType] (trimesh has no types here)

from hipwright.domain.side import Side
from hipwright.phantoms import attenuation
from hipwright.phantoms.attenuation import HOUNSFIELD
from hipwright.phantoms.film_bodies import Part, Skeleton
from hipwright.phantoms.film_grain import neck_base_mm, shaft_line
from hipwright.phantoms.film_setup import NEUTRAL, LegPose, RigidPose
from hipwright.phantoms.lumbar import lumbar_spine
from hipwright.phantoms.projection import Array
from hipwright.phantoms.soft_tissue import Build, Solid, body_envelope, bowel_gas, muscles
from hipwright.phantoms.surfaces import TriangleSurface
from hipwright.phantoms.voxel_filling import Voxels, VoxelSum

AIR_HU = HOUNSFIELD["air"]
SMALLEST_HU, LARGEST_HU = -1024, 3071


@dataclass(frozen=True, slots=True, kw_only=True)
class CtSetup:
    """How a volume is taken.

    Parameters
    ----------
    columns, rows, pixel_mm
        The slice, its middle on the middle of the heads (x, y).
    slice_mm
        Distance of slices, which touch; also their thickness.
    from_mm, to_mm
        Lowest and highest place against the middle of the heads (z).
    legs
        How the legs lie.
    noise_hu
        Standard deviation of the noise in the finished slices.
    blur_mm, overshoot
        Width of the reconstruction kernel and how far it overshoots at edges.
    table
        Whether a table lies under the body.
    """

    columns: int = 512
    rows: int = 512
    pixel_mm: float = 0.7
    slice_mm: float = 1.0
    from_mm: float = -95.0
    to_mm: float = 165.0
    legs: Mapping[Side, LegPose] = field(default_factory=dict[Side, LegPose])
    noise_hu: float = 18.0
    blur_mm: float = 0.5
    overshoot: float = 0.35
    table: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SimulatedVolume:
    """A CT volume in ``patient_lps``.

    Parameters
    ----------
    hu
        int16, shape (slices, rows, columns); slices from below upward.
    origin_mm
        Center of the first voxel (x, y, z).
    spacing_mm
        Between columns, rows and slices.
    directions
        Columns of this matrix are the directions of growing column, row and slice.
    poses
        How each part was moved before it was taken.
    """

    hu: NDArray[np.int16]
    origin_mm: Array
    spacing_mm: Array
    directions: Array
    setup: CtSetup
    poses: Mapping[Part, RigidPose]

    def voxel_of(self, points_mm: Array, part: Part = Part.PELVIS) -> Array:
        """Give (slice, row, column) of points of a part, unposed, shape (n, 3)."""
        points = self.poses[part].apply(np.atleast_2d(points_mm))
        return (((points - self.origin_mm) @ self.directions) / self.spacing_mm)[:, ::-1]


def _hounsfield(contrast_per_mm: float) -> float:
    return 1000.0 * contrast_per_mm / attenuation.WATER


def _table(middle: Array, length_mm: float) -> tuple[Solid, ...]:
    def slab(extents: tuple[float, float, float], contrast: float) -> Solid:
        shape: Any = box(extents=extents)
        place = middle + np.array([0.0, 155.0, 0.0])
        surface = TriangleSurface(
            vertices=np.array(shape.vertices) + place, faces=np.array(shape.faces, dtype=np.int32)
        )
        return Solid(name="table", surface=surface, contrast_per_mm=contrast)

    shell, foam = 0.9 * attenuation.WATER, 0.1 * attenuation.WATER
    return (
        slab((430.0, 26.0, length_mm), shell),
        slab((427.0, 23.0, length_mm), foam - shell),
    )


def _marrow_places(skeleton: Skeleton, poses: Mapping[Part, RigidPose]) -> Array:
    """Give where marrow is denser or emptier: rows of x, y, z, reach (mm), HU."""
    rows: list[Array] = []
    for side in Side:
        head = skeleton.head_centers_mm[side]
        base = neck_base_mm(skeleton, side)
        down = shaft_line(skeleton, side)[1]
        pose = poses[Part.femur(side)]
        for place, reach, hu in (
            (head - 4 * down, 13.0, 260.0),
            (head + 0.62 * (base - head) + 6 * down, 8.0, -130.0),
            (base + 10 * down, 16.0, -90.0),
            *((base + step * down, 22.0, -230.0) for step in (55, 95, 135, 175, 215, 255, 295)),
        ):
            rows.append(np.array([*pose.apply(place[None])[0], reach, hu]))
        roof = head + np.array([0.0, 0.0, 30.0])
        rows.append(np.array([*roof, 14.0, 160.0]))
    return np.array(rows)


@njit(cache=True, nogil=True)
def _develop_marrow(
    total: Voxels, spongy: Voxels, origin: Array, spacing: Array, places: Array, grain: Voxels
) -> None:
    """Add the marrow's own HU and its grain to every voxel that holds any."""
    size = grain.shape[0]
    for k in range(total.shape[0]):
        z = origin[2] + k * spacing[2]
        for i in range(total.shape[1]):
            y = origin[1] + i * spacing[1]
            for j in range(total.shape[2]):
                share = spongy[k, i, j]
                if share <= 0.0:
                    continue
                x = origin[0] + j * spacing[0]
                hu = 0.0
                for p in range(places.shape[0]):
                    away = (
                        (x - places[p, 0]) ** 2 + (y - places[p, 1]) ** 2 + (z - places[p, 2]) ** 2
                    )
                    reach = places[p, 3] ** 2
                    if away < 9 * reach:
                        hu += places[p, 4] * np.exp(-0.5 * away / reach)
                hu = max(hu, -230.0) + grain[k % size, i % size, j % size]
                total[k, i, j] += np.float32(share * hu)


_GRAIN_TILE = 96
_GRAIN_HU = 55.0
_MARROW_HU = 190.0  # of the metaphyses; heads are denser, shafts hold fat (judgment)


def _grain_tile(spacing: Array, rng: np.random.Generator) -> Voxels:
    noise = rng.standard_normal((_GRAIN_TILE,) * 3, dtype=np.float32)
    coarse: Any = gaussian_filter(noise, 0.8 / spacing[::-1], mode="wrap")
    return (_GRAIN_HU * coarse / coarse.std()).astype(np.float32)


def _place_bones(
    skeleton: Skeleton, poses: Mapping[Part, RigidPose], total: VoxelSum, spongy: VoxelSum
) -> None:
    soft = _hounsfield(attenuation.SOFT - attenuation.WATER)
    for part in Part:
        for bone in skeleton.of_part(part):
            outer = _posed(bone.outer, poses[part])
            total.add(outer, bone.density * (HOUNSFIELD["cortex"] - soft))
            if bone.inner is not None:
                inner = _posed(bone.inner, poses[part])
                total.add(inner, _MARROW_HU - HOUNSFIELD["cortex"])
                spongy.add(inner, 1.0)


def _posed(surface: TriangleSurface, pose: RigidPose) -> TriangleSurface:
    return TriangleSurface(vertices=pose.apply(surface.vertices), faces=surface.faces)


def simulate_ct(
    skeleton: Skeleton,
    setup: CtSetup,
    rng: np.random.Generator,
    *,
    build: Build | None = None,
) -> SimulatedVolume:
    """Take a CT of a skeleton in a body of soft tissue.

    The share of a material in a voxel is exact along z and sampled by 2 × 2
    rays in the slice. Then come marrow, noise and the kernel.

    Parameters
    ----------
    skeleton
        Bones in neutral pose.
    setup
        Field, spacing, noise and kernel.
    rng
        Decides soft tissue, grain and noise.
    build
        The body around the bones.
    """
    skeleton = replace(skeleton, bones=(*skeleton.bones, *lumbar_spine(skeleton)))
    middle = skeleton.middle_of_heads_mm
    poses = {part: _pose(part, skeleton, setup) for part in Part}
    spacing = np.array([setup.pixel_mm, setup.pixel_mm, setup.slice_mm])
    slices = round((setup.to_mm - setup.from_mm) / setup.slice_mm)
    half = np.array([setup.columns - 1, setup.rows - 1]) / 2 * setup.pixel_mm
    origin = np.array([*(middle[:2] - half), middle[2] + setup.from_mm + setup.slice_mm / 2])
    shape = (slices, setup.rows, setup.columns)
    total, spongy = VoxelSum(shape, origin, spacing), VoxelSum(shape, origin, spacing)
    down = np.array([0.0, 0.0, -1.0])
    shafts = {side: poses[Part.femur(side)].rotation @ down for side in Side}
    heads = skeleton.head_centers_mm
    solids = (
        *body_envelope(heads_mm=heads, shafts=shafts, build=build or Build(), rng=rng),
        *muscles(heads_mm=heads, shafts=shafts, rng=rng),
        *bowel_gas(middle_mm=middle, rng=rng, amount=1.5),
        *(_table(middle, 2000.0) if setup.table else ()),
    )
    for solid in solids:
        total.add(solid.surface, _hounsfield(solid.contrast_per_mm))
    _place_bones(skeleton, poses, total, spongy)
    volume = total.finished()
    places = _marrow_places(skeleton, poses)
    _develop_marrow(volume, spongy.finished(), origin, spacing, places, _grain_tile(spacing, rng))
    return SimulatedVolume(
        hu=_reconstructed(volume, setup, rng),
        origin_mm=origin,
        spacing_mm=spacing,
        directions=np.eye(3),
        setup=setup,
        poses=poses,
    )


def _pose(part: Part, skeleton: Skeleton, setup: CtSetup) -> RigidPose:
    if part.side is None:
        return RigidPose(rotation=np.eye(3), pivot_mm=np.zeros(3))
    rotation = setup.legs.get(part.side, NEUTRAL).rotation(part.side)
    return RigidPose(rotation=rotation, pivot_mm=skeleton.head_centers_mm[part.side])


def _kernel(picture: Voxels, setup: CtSetup) -> Voxels:
    narrow = setup.blur_mm / setup.pixel_mm
    sharp: Any = gaussian_filter(picture, narrow, mode="nearest")
    soft: Any = gaussian_filter(picture, 3.0 * narrow, mode="nearest")
    return sharp + np.float32(setup.overshoot) * (sharp - soft)


def _reconstructed(volume: Voxels, setup: CtSetup, rng: np.random.Generator) -> NDArray[np.int16]:
    """Add noise, apply the kernel slice by slice, and round to HU."""
    result = np.empty(volume.shape, np.int16)
    noise = rng.standard_normal(volume.shape[1:], dtype=np.float32)
    gain = setup.noise_hu / float(_kernel(noise, setup).std())
    for index in range(len(volume)):
        noise = rng.standard_normal(volume.shape[1:], dtype=np.float32)
        picture = _kernel(volume[index] + np.float32(gain) * noise, setup) + np.float32(AIR_HU)
        result[index] = np.rint(np.clip(picture, SMALLEST_HU, LARGEST_HU))
    return result
