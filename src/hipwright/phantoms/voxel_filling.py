"""How much of every voxel lies inside a closed surface.

Rays run along z through the middles of a finer grid in the plane. Along z the
share of a voxel is exact: a ray that leaves the surface at height z adds the
part of the slice below z, one that enters takes it away. Coverage is decided
in whole numbers, as for films, so no streaks arise.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.phantoms.projection import Array
from hipwright.phantoms.ray_lengths import SUBPIXELS
from hipwright.phantoms.surfaces import TriangleSurface

Voxels = NDArray[np.float32]
RAYS_PER_VOXEL = 2
"""Along each of the two axes of the slice."""


class VoxelSum:
    """A running, weighted sum of shares of voxels, shape (slices, rows, columns).

    Parameters
    ----------
    shape
        Slices, rows and columns.
    origin_mm
        Center of the first voxel (x, y, z).
    spacing_mm
        Between columns (x), rows (y) and slices (z); slices touch.
    """

    def __init__(self, shape: tuple[int, int, int], origin_mm: Array, spacing_mm: Array) -> None:
        self._origin, self._spacing = np.asarray(origin_mm), np.asarray(spacing_mm)
        self._partial = np.zeros(shape, np.float32)
        self._below = np.zeros((shape[0] + 1, *shape[1:]), np.float32)

    def add(self, surface: TriangleSurface, weight: float) -> None:
        """Add a closed surface; outward faces counterclockwise."""
        scaled = (surface.vertices - self._origin) / self._spacing
        plane = (scaled[:, :2] + 0.5) * RAYS_PER_VOXEL - 0.5
        _fill(
            self._partial,
            self._below,
            np.rint(plane * SUBPIXELS).astype(np.int64),
            np.ascontiguousarray(np.column_stack([plane, scaled[:, 2] + 0.5])),
            np.ascontiguousarray(surface.faces, dtype=np.int64),
            np.float32(weight / RAYS_PER_VOXEL**2),
        )

    def finished(self) -> Voxels:
        """Give the sum; the running sum is used up."""
        total, below = self._partial, self._below
        running = below[-1].copy()
        for index in range(len(total) - 1, -1, -1):
            total[index] += running
            running += below[index]
        self._below = below[:0]
        return total


@njit(cache=True, nogil=True)
def _mark(
    partial: Voxels, below: Voxels, row: int, column: int, z: float, sign: np.float32
) -> None:
    """Add everything of a column of voxels below height z, in slices from the lowest edge."""
    i, j = row // RAYS_PER_VOXEL, column // RAYS_PER_VOXEL
    slices = partial.shape[0]
    if z >= slices:
        below[slices, i, j] += sign
    elif z > 0:
        index = int(z)
        partial[index, i, j] += sign * np.float32(z - index)
        below[index, i, j] += sign


@njit(cache=True, nogil=True)
def _fill(
    partial: Voxels,
    below: Voxels,
    grid: NDArray[np.int64],
    local: Array,
    faces: NDArray[np.int64],
    weight: np.float32,
) -> None:
    rows, columns = partial.shape[1] * RAYS_PER_VOXEL, partial.shape[2] * RAYS_PER_VOXEL
    for face in range(faces.shape[0]):
        a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
        ax, ay = grid[a, 0], grid[a, 1]
        bx, by = grid[b, 0], grid[b, 1]
        cx, cy = grid[c, 0], grid[c, 1]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0:
            continue
        sign = weight
        if area < 0:  # the ray enters here
            sign = -weight
            bx, by, cx, cy = cx, cy, bx, by
        low_column = max(0, -(-min(ax, bx, cx) // SUBPIXELS))
        high_column = min(columns - 1, max(ax, bx, cx) // SUBPIXELS)
        low_row = max(0, -(-min(ay, by, cy) // SUBPIXELS))
        high_row = min(rows - 1, max(ay, by, cy) // SUBPIXELS)
        if low_column > high_column or low_row > high_row:
            continue
        ux, uy, uz = (
            local[b, 0] - local[a, 0],
            local[b, 1] - local[a, 1],
            local[b, 2] - local[a, 2],
        )
        vx, vy, vz = (
            local[c, 0] - local[a, 0],
            local[c, 1] - local[a, 1],
            local[c, 2] - local[a, 2],
        )
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        near = min(local[a, 2], local[b, 2], local[c, 2])
        far = max(local[a, 2], local[b, 2], local[c, 2])
        if far <= 0:
            continue
        keep_ab = 0 if (by < ay or (by == ay and bx > ax)) else 1
        keep_bc = 0 if (cy < by or (cy == by and cx > bx)) else 1
        keep_ca = 0 if (ay < cy or (ay == cy and ax > cx)) else 1
        for row in range(low_row, high_row + 1):
            py = row * SUBPIXELS
            px = low_column * SUBPIXELS
            e_ab = (bx - ax) * (py - ay) - (by - ay) * (px - ax) - keep_ab
            e_bc = (cx - bx) * (py - by) - (cy - by) * (px - bx) - keep_bc
            e_ca = (ax - cx) * (py - cy) - (ay - cy) * (px - cx) - keep_ca
            for column in range(low_column, high_column + 1):
                if e_ab >= 0 and e_bc >= 0 and e_ca >= 0:
                    z = near
                    if nz != 0.0:
                        slope = nx * (column - local[a, 0]) + ny * (row - local[a, 1])
                        z = min(max(local[a, 2] - slope / nz, near), far)
                    _mark(partial, below, row, column, z, sign)
                e_ab -= (by - ay) * SUBPIXELS
                e_bc -= (cy - by) * SUBPIXELS
                e_ca -= (ay - cy) * SUBPIXELS
