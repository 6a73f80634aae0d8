"""How thick the cortex of a bone is, and what a voxel of bone has for HU, place by place."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from hipwright.domain.side import Side
from hipwright.phantoms.attenuation import HOUNSFIELD
from hipwright.phantoms.cortex import hollowed, vertex_normals
from hipwright.phantoms.ct_setup import BoneDensity
from hipwright.phantoms.surfaces import TriangleSurface
from hipwright.phantoms.voxel_filling import Voxels

Floats = NDArray[np.float64]

TILE = 64

_SHELL_MM = 1.5
_HEAD_MM = 1.2
_ROOF_MM = 2.4
_JOINT_REACH_MM = 7.0
_FEMUR_BELOW_MM = (10.0, 40.0, 75.0, 130.0, 300.0, 360.0)
_FEMUR_MM = (1.2, 1.6, 2.8, 4.5, 4.2, 1.2)
_WAVES = 24
_SHORTEST_MM, _LONGEST_MM = 12.0, 40.0
_SHAFT_FROM_MM, _SHAFT_STEP_MM, _SHAFT_REACH_MM = 75.0, 25.0, 22.0
_HEAD_REACH_MM, _ROOF_REACH_MM = 17.0, 15.0
_LEVEL_MM = 3.0
_FEWEST = 6
_THICKEST, _THINNEST, _DEEPEST_MM = -0.35, 0.6, 3.0
NOTHING = 1e-4
"""A smaller share of a voxel is none."""


def waves(points: Floats, rng: np.random.Generator) -> Floats:
    """A smooth random field of unit spread at points (n, 3), mm: waves of 12 to 40 mm."""
    length = rng.uniform(_SHORTEST_MM, _LONGEST_MM, _WAVES)
    way = rng.standard_normal((_WAVES, 3))
    way *= (2 * np.pi / length / np.linalg.norm(way, axis=1))[:, None]
    phase = rng.uniform(0, 2 * np.pi, _WAVES)
    total = np.zeros(len(points))
    for k in range(_WAVES):
        total += np.cos(points @ way[k] + phase[k])
    return total * np.sqrt(2.0 / _WAVES)


def cortex_mm(
    name: str,
    surface: TriangleSurface,
    heads_mm: Mapping[Side, Floats],
    radii_mm: Mapping[Side, float],
    density: BoneDensity,
    rng: np.random.Generator,
) -> Floats:
    """Thickness of the cortex at every vertex, (n,) mm.

    Thin under cartilage, thick in shafts and over the roof, wavy everywhere.
    """
    points = surface.vertices
    thick = np.full(len(points), _SHELL_MM)
    is_femur = name.startswith("femur")
    plate = np.zeros(len(points))
    for side, head in heads_mm.items():
        out = points - head
        away = np.linalg.norm(out, axis=1)
        over = away - radii_mm[side]
        if is_femur and name.endswith(side.value):
            thick = np.interp(-out[:, 2], _FEMUR_BELOW_MM, _FEMUR_MM)
            thick = np.where(np.abs(over) < 2.0, _HEAD_MM, thick)  # noqa: PLR2004 (mm: on the head)
            plate = np.maximum(plate, (np.abs(over) < 2.0) & (out[:, 2] > -0.3 * away))  # noqa: PLR2004 (mm)
        elif name.startswith("hip_bone"):
            near = over < _JOINT_REACH_MM
            roof = near & (out[:, 2] > 0.55 * away)
            thick = np.where(roof, _ROOF_MM, thick)
            plate = np.maximum(plate, near & ~roof)
    thick = np.where(plate > 0, density.joint_mm, thick * density.thickness)
    return thick * np.clip(1.0 + density.thickness_spread * waves(points, rng), 0.5, 1.6)


def marrow_surface(
    name: str,
    surface: TriangleSurface,
    heads_mm: Mapping[Side, Floats],
    radii_mm: Mapping[Side, float],
    density: BoneDensity,
    rng: np.random.Generator,
) -> TriangleSurface:
    """Give the inner surface of a bone that comes with its outer one only."""
    return hollowed(surface, cortex_mm(name, surface, heads_mm, radii_mm, density, rng))


def thinned(
    inner: TriangleSurface,
    outer: TriangleSurface,
    density: BoneDensity,
    rng: np.random.Generator,
) -> TriangleSurface:
    """Move a bone's own inner surface so that its cortex gets the density's factors."""
    depth = np.asarray(cKDTree(outer.vertices).query(inner.vertices)[0])
    factor = density.thickness * (1.0 + density.thickness_spread * waves(inner.vertices, rng))
    out = np.clip(1.0 - factor, _THICKEST, _THINNEST) * np.minimum(depth, _DEEPEST_MM)
    vertices = inner.vertices + out[:, None] * vertex_normals(inner)
    return TriangleSurface(vertices=vertices, faces=inner.faces)


def marrow_sites(
    bones: Mapping[str, TriangleSurface], heads_mm: Mapping[Side, Floats], density: BoneDensity
) -> Floats:
    """Where marrow is denser or emptier: rows of x, y, z, reach (mm), HU to add."""
    rows: list[list[float]] = []
    for side, head in heads_mm.items():
        rows.append([*head, _HEAD_REACH_MM, density.head_hu - density.spongy_hu])
        roof = head + np.array([0.0, 0.0, 32.0])
        rows.append([*roof, _ROOF_REACH_MM, 0.5 * (density.head_hu - density.spongy_hu)])
        femur = bones.get(f"femur_{side.value}")
        if femur is None:
            continue
        low = float(femur.vertices[:, 2].min()) + 60.0
        level = float(head[2]) - _SHAFT_FROM_MM
        while level > low:
            slab = femur.vertices[np.abs(femur.vertices[:, 2] - level) < _LEVEL_MM]
            if len(slab) >= _FEWEST:
                middle = (slab.max(axis=0) + slab.min(axis=0)) / 2
                rows.append([*middle, _SHAFT_REACH_MM, density.shaft_hu - density.spongy_hu])
            level -= _SHAFT_STEP_MM
    return np.array(rows).reshape(-1, 5)


def grain_tile(spacing_mm: Floats, density: BoneDensity, rng: np.random.Generator) -> Voxels:
    """A block of cancellous grain that repeats without a seam, HU, float32."""
    noise = rng.standard_normal((TILE,) * 3, dtype=np.float32)
    grain = np.asarray(gaussian_filter(noise, density.texture_mm / spacing_mm / 2, mode="wrap"))
    return (density.texture_hu * grain / grain.std()).astype(np.float32)


@njit(cache=True, nogil=True)
def place_bone(
    total: Voxels,
    outer: Voxels,
    inner: Voxels,
    first: Floats,
    steps: Floats,
    hu: Floats,
    sites: Floats,
    uneven: Floats,
    grain: Voxels,
    offset: int,
) -> None:
    """Put the bone into every voxel that holds any, in place of what was there.

    ``total`` counts HU from air; ``hu`` is (cortex, its spread, cancellous, lowest) counted so;
    ``uneven`` rows of a wave (kx, ky, kz, phase); ``offset`` the number of the first slice.
    """
    size = grain.shape[0]
    scale = np.sqrt(2.0 / uneven.shape[0])
    for k in range(total.shape[0]):
        for i in range(total.shape[1]):
            for j in range(total.shape[2]):
                marrow = inner[k, i, j]
                compact = outer[k, i, j] - marrow
                if abs(compact) < NOTHING and abs(marrow) < NOTHING:
                    continue
                x = first[0] + k * steps[0, 0] + i * steps[1, 0] + j * steps[2, 0]
                y = first[1] + k * steps[0, 1] + i * steps[1, 1] + j * steps[2, 1]
                z = first[2] + k * steps[0, 2] + i * steps[1, 2] + j * steps[2, 2]
                value = total[k, i, j] * (1.0 - min(max(outer[k, i, j], 0.0), 1.0))
                if abs(compact) >= NOTHING:
                    wave = 0.0
                    for p in range(uneven.shape[0]):
                        wave += np.cos(
                            x * uneven[p, 0] + y * uneven[p, 1] + z * uneven[p, 2] + uneven[p, 3]
                        )
                    value += compact * hu[0] * (1.0 + hu[1] * scale * wave)
                if abs(marrow) >= NOTHING:
                    own = hu[2]
                    for p in range(sites.shape[0]):
                        away = (
                            (x - sites[p, 0]) ** 2
                            + (y - sites[p, 1]) ** 2
                            + (z - sites[p, 2]) ** 2
                        )
                        reach = sites[p, 3] ** 2
                        if away < 9 * reach:
                            own += sites[p, 4] * np.exp(-0.5 * away / reach)
                    own = max(own, hu[3]) + grain[(k + offset) % size, i % size, j % size]
                    value += marrow * own
                total[k, i, j] = np.float32(value)


def cortex_waves(rng: np.random.Generator) -> Floats:
    """Rows for :func:`place_bone`: how the HU of compact bone varies in space."""
    count = _WAVES // 3
    length = rng.uniform(_SHORTEST_MM / 2, _LONGEST_MM, count)
    way = rng.standard_normal((count, 3))
    way *= (2 * np.pi / length / np.linalg.norm(way, axis=1))[:, None]
    return np.column_stack([way, rng.uniform(0, 2 * np.pi, count)])


def bone_hu(density: BoneDensity) -> Floats:
    """Numbers for :func:`place_bone`."""
    air, lowest = HOUNSFIELD["air"], min(density.shaft_hu, HOUNSFIELD["fat"] / 2)
    return np.array(
        [density.cortex_hu - air, density.cortex_hu_spread, density.spongy_hu - air, lowest - air]
    )
