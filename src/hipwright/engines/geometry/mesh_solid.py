"""The inside of a closed mesh on a grid, and how full of it the surroundings of places are."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.engines.geometry.meshes import Floats, Ints

_MARGIN = 8  # cells around the mesh
_OFF = np.array([0.50317, 0.50571, 0.50733])  # cells: so that no ray meets a vertex or an edge


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SolidGrid:
    """Cells of a grid along x, y, z; those whose middle lies inside are true."""

    inside: NDArray[np.bool_] = field(repr=False)
    origin_mm: Floats
    step_mm: float


def solid_grid(vertices: Floats, faces: Ints, step_mm: float) -> SolidGrid:
    """Fill a closed mesh: parity along rays in x."""
    low = vertices.min(axis=0) - (_MARGIN - _OFF) * step_mm
    shape = np.ceil((np.ptp(vertices, axis=0)) / step_mm).astype(np.int64) + 2 * _MARGIN
    corners = (vertices - low) / step_mm
    flips = crossed_cells(
        np.ascontiguousarray(corners), np.ascontiguousarray(faces, dtype=np.int64), shape
    )
    inside = np.bitwise_xor.accumulate(flips, axis=0).astype(bool)
    return SolidGrid(inside=inside, origin_mm=low, step_mm=step_mm)


def filled_share(solid: SolidGrid, points: Floats, reach_mm: float) -> Floats:
    """How full the surroundings of points are, weighted by a bell of that reach, (n,).

    0.5 on a flat surface, less on ridges, little at the tip of a spike, more in pits.
    """
    smooth: Any = ndimage.gaussian_filter(
        solid.inside.astype(np.float32), reach_mm / solid.step_mm, mode="constant", truncate=3.0
    )
    places = ((points - solid.origin_mm) / solid.step_mm).T
    found: Any = ndimage.map_coordinates(smooth, places, order=1, mode="nearest")
    return np.asarray(found, dtype=np.float64)


@njit(cache=True, nogil=True)
def crossed_cells(
    corners: Floats, faces: NDArray[np.int64], shape: NDArray[np.int64]
) -> NDArray[np.uint8]:
    """Mark, for each ray in x through (y, z), the first cell beyond every crossing (parity)."""
    flips = np.zeros((shape[0], shape[1], shape[2]), np.uint8)
    for f in range(faces.shape[0]):
        a, b, c = corners[faces[f, 0]], corners[faces[f, 1]], corners[faces[f, 2]]
        area = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
        if area == 0.0:
            continue
        first_y, last_y = int(np.ceil(min(a[1], b[1], c[1]))), int(max(a[1], b[1], c[1]))
        first_z, last_z = int(np.ceil(min(a[2], b[2], c[2]))), int(max(a[2], b[2], c[2]))
        for y in range(first_y, last_y + 1):
            for z in range(first_z, last_z + 1):
                u = ((y - a[1]) * (c[2] - a[2]) - (z - a[2]) * (c[1] - a[1])) / area
                v = ((b[1] - a[1]) * (z - a[2]) - (b[2] - a[2]) * (y - a[1])) / area
                if u < 0.0 or v < 0.0 or u + v > 1.0:
                    continue
                x = a[0] + u * (b[0] - a[0]) + v * (c[0] - a[0])
                flips[int(np.ceil(x)), y, z] ^= 1
    return flips
