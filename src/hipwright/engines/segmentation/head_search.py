"""Where round bone ends may lie: gradients vote for the centers of spheres.

Every edge voxel votes along its gradient, toward the brighter side: the head's own surface
votes for its center, the socket votes away from it.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Votes = NDArray[np.float32]
Voxels = NDArray[np.int16]

SMALLEST_MM, LARGEST_MM = 15.0, 31.0
"""Head radii that are looked for; adults lie well within (common practice)."""

CELL_MM = 2.5
CANDIDATES = 16
APART_MM = 14.0
EDGE_SHARE = 0.3
"""Slope that counts as an edge: share of the step from soft tissue to cortex over 3 mm."""

_RADIUS_POWER = 1.5


@njit(cache=True, nogil=True)
def cast_votes(
    coarse: Voxels,
    step_mm: Floats,
    least_slope: float,
    least_hu: float,
    radii: Floats,
    cell_mm: float,
    votes: Votes,
) -> None:
    """Let edge voxels vote; ``votes`` (radii, z, y, x) in cells of ``cell_mm``."""
    nz, ny, nx = coarse.shape
    sx, sy, sz = step_mm[0], step_mm[1], step_mm[2]
    for z in range(1, nz - 1):
        for y in range(1, ny - 1):
            for x in range(1, nx - 1):
                if coarse[z, y, x] < least_hu:
                    continue
                gx = (coarse[z, y, x + 1] - coarse[z, y, x - 1]) / (2 * sx)
                gy = (coarse[z, y + 1, x] - coarse[z, y - 1, x]) / (2 * sy)
                gz = (coarse[z + 1, y, x] - coarse[z - 1, y, x]) / (2 * sz)
                slope = np.sqrt(gx * gx + gy * gy + gz * gz)
                if slope < least_slope:
                    continue
                for k in range(radii.shape[0]):
                    r = radii[k] / slope
                    c = int((z * sz + r * gz) / cell_mm + 0.5)
                    b = int((y * sy + r * gy) / cell_mm + 0.5)
                    a = int((x * sx + r * gx) / cell_mm + 0.5)
                    inside = 0 <= c < votes.shape[1] and 0 <= b < votes.shape[2]
                    if inside and 0 <= a < votes.shape[3]:
                        votes[k, c, b, a] += 1.0


def _boxed(votes: Votes) -> Votes:
    """Sum over 3 cells along every axis, radii included."""
    total = votes
    for axis in range(votes.ndim):
        rolled = total.copy()
        low = [slice(None)] * votes.ndim
        high = [slice(None)] * votes.ndim
        low[axis], high[axis] = slice(None, -1), slice(1, None)
        rolled[tuple(low)] += total[tuple(high)]
        rolled[tuple(high)] += total[tuple(low)]
        total = rolled
    return total


def head_candidates(
    coarse: Voxels, step_mm: Floats, *, soft_hu: float, cortex_hu: float
) -> list[tuple[Floats, float]]:
    """Centers (upright x, y, z mm from the first coarse voxel) and radii, best first.

    Parameters
    ----------
    coarse
        Block means of 1 to 2.5 mm.
    step_mm
        Their spacing along x, y, z.
    soft_hu, cortex_hu
        Levels of the scan.
    """
    radii = np.arange(SMALLEST_MM, LARGEST_MM + 0.5, 1.0)
    shape = [int(n * s / CELL_MM) + 2 for n, s in zip(coarse.shape, step_mm[::-1], strict=True)]
    votes = np.zeros((len(radii), *shape), np.float32)
    slope = EDGE_SHARE * (cortex_hu - soft_hu) / 3.0
    cast_votes(coarse, step_mm, slope, soft_hu, radii, CELL_MM, votes)
    votes = _boxed(votes)
    votes /= (radii**_RADIUS_POWER).astype(np.float32)[:, None, None, None]
    best = votes.max(axis=0)
    found: list[tuple[Floats, float]] = []
    reach = int(np.ceil(APART_MM / CELL_MM))
    for _ in range(CANDIDATES):
        c, b, a = (int(i) for i in np.unravel_index(int(best.argmax()), best.shape))
        if best[c, b, a] <= 0:
            break
        radius = float(radii[int(votes[:, c, b, a].argmax())])
        found.append((np.array([a, b, c], dtype=np.float64) * CELL_MM, radius))
        around = tuple(slice(max(0, i - reach), i + reach + 1) for i in (c, b, a))
        best[around] = 0.0
    return found
