"""Fine voxels take the label of their coarse node where that is sure, else they are flooded.

Flooding goes from the brightest solid bone into the valleys last, so that two bones meet where
the valley is deepest.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.segmentation.bone_graph import valley_depth

Codes = NDArray[np.uint8]
Voxels = NDArray[np.int16]

UNSURE = 255
"""Stands for a bone voxel whose label is still to be found."""

LEVELS = 64
CODES = 8


@njit(cache=True, nogil=True)
def spread_nodes(mask: Codes, block: tuple[int, int, int], node_codes: Codes, codes: Codes) -> int:
    """Give each bone voxel without a word its node's code, in place; returns how many are unsure.

    ``node_codes`` is coarse, with ``UNSURE`` where the node does not decide. ``codes`` is fine:
    ``UNSURE`` stands for no word so far, anything else outranks the node.
    """
    unsure = 0
    bz, by, bx = block
    for z in range(mask.shape[0]):
        for y in range(mask.shape[1]):
            for x in range(mask.shape[2]):
                if codes[z, y, x] != UNSURE:
                    continue
                code = 0
                if mask[z, y, x] > 0:
                    code = node_codes[z // bz, y // by, x // bx]
                codes[z, y, x] = code
                if code == UNSURE:
                    unsure += 1
    return unsure


@njit(cache=True, nogil=True)
def _neighbor(z: int, y: int, x: int, way: int) -> tuple[int, int, int]:
    if way == 0:
        return z - 1, y, x
    if way == 1:
        return z + 1, y, x
    if way == 2:  # noqa: PLR2004 (six neighbors)
        return z, y - 1, x
    if way == 3:  # noqa: PLR2004 (six neighbors)
        return z, y + 1, x
    if way == 4:  # noqa: PLR2004 (six neighbors)
        return z, y, x - 1
    return z, y, x + 1


@njit(cache=True, nogil=True)
def _index_of(place_of: NDArray[np.int64], place: int, low: int, high: int) -> int:
    while low < high:
        middle = (low + high) // 2
        if place_of[middle] < place:
            low = middle + 1
        else:
            high = middle
    return low


@njit(cache=True, nogil=True)
def flood(  # noqa: C901, PLR0912, PLR0915 (one compiled loop)
    values: Voxels, reach: tuple[int, int], scale: float, barred: Codes, codes: Codes
) -> None:
    """Label the unsure voxels from their labeled neighbors, shallow valleys first, in place.

    ``barred`` holds, by bits, the codes (1 to 8, bit code − 1) that a voxel must not take.
    What cannot be reached becomes 0.
    """
    nz, ny, nx = codes.shape
    row_start = np.zeros(nz * ny + 1, np.int64)
    for row in range(nz * ny):
        n = 0
        for x in range(nx):
            if codes[row // ny, row % ny, x] == UNSURE:
                n += 1
        row_start[row + 1] = row_start[row] + n
    count = row_start[nz * ny]
    level_of = np.empty(count, np.uint8)
    place_of = np.empty(count, np.int64)
    next_of = np.full(count, -1, np.int64)
    heads = np.full(LEVELS, -1, np.int64)
    tails = np.full(LEVELS, -1, np.int64)
    queued = np.zeros(count, np.uint8)
    votes = np.zeros(9, np.int64)
    n = 0
    for z in range(nz):
        for y in range(ny):
            for x in range(nx):
                if codes[z, y, x] == UNSURE:
                    depth = valley_depth(values, z, y, x, reach[0], reach[1], scale)
                    level_of[n] = np.uint8(min(63, int(depth * 63.0)))
                    place_of[n] = (z * ny + y) * nx + x
                    n += 1
    for m in range(count):
        place = place_of[m]
        z, y, x = place // (ny * nx), (place // nx) % ny, place % nx
        for way in range(6):
            a, b, c = _neighbor(z, y, x, way)
            inside = 0 <= a < nz and 0 <= b < ny and 0 <= c < nx
            if inside and 0 < codes[a, b, c] < UNSURE:
                level = level_of[m]
                if tails[level] < 0:
                    heads[level] = m
                else:
                    next_of[tails[level]] = m
                tails[level] = m
                queued[m] = 1
                break
    level = 0
    while level < LEVELS:
        m = heads[level]
        if m < 0:
            level += 1
            continue
        heads[level] = next_of[m]
        if heads[level] < 0:
            tails[level] = -1
        next_of[m] = -1
        place = place_of[m]
        z, y, x = place // (ny * nx), (place // nx) % ny, place % nx
        votes[:] = 0
        for way in range(6):
            a, b, c = _neighbor(z, y, x, way)
            if 0 <= a < nz and 0 <= b < ny and 0 <= c < nx:
                code = codes[a, b, c]
                if 0 < code <= CODES and not (barred[z, y, x] >> (code - 1)) & 1:
                    votes[code] += 1
        best = 0
        for code in range(1, 9):
            if votes[code] > votes[best]:
                best = code
        if best == 0:
            queued[m] = 0
            continue
        codes[z, y, x] = best
        for way in range(6):
            a, b, c = _neighbor(z, y, x, way)
            if not (0 <= a < nz and 0 <= b < ny and 0 <= c < nx) or codes[a, b, c] != UNSURE:
                continue
            row = a * ny + b
            other = _index_of(
                place_of, (a * ny + b) * nx + c, int(row_start[row]), int(row_start[row + 1])
            )
            if queued[other]:
                continue
            at = max(int(level_of[other]), level)
            if tails[at] < 0:
                heads[at] = other
            else:
                next_of[tails[at]] = other
            tails[at] = other
            queued[other] = 1
    for z in range(nz):
        for y in range(ny):
            for x in range(nx):
                if codes[z, y, x] == UNSURE:
                    codes[z, y, x] = 0
