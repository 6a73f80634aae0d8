"""Coarser copies of a volume, and how much of each coarse voxel is bone."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Voxels = NDArray[np.int16]
Shares = NDArray[np.uint8]
Block = tuple[int, int, int]

FULL_SHARE = 255
"""A coarse voxel that is bone all through."""


def block_shape(spacing_mm: NDArray[np.float64], target_mm: float) -> Block:
    """Voxels of each axis that together stay within ``target_mm``, at least one each."""
    z, y, x = (max(1, int(target_mm / s + 1e-6)) for s in spacing_mm)
    return z, y, x


def coarse_shape(shape: tuple[int, ...], block: Block) -> Block:
    """Shape of the coarse volume; what is left over at the far ends makes a smaller block."""
    z, y, x = (-(-n // b) for n, b in zip(shape, block, strict=True))
    return z, y, x


@njit(cache=True, nogil=True)
def block_means(values: Voxels, block: Block, out: Voxels) -> None:
    """Fill ``out`` with the means of blocks of ``values``."""
    bz, by, bx = block
    for k in range(out.shape[0]):
        k1 = min((k + 1) * bz, values.shape[0])
        for i in range(out.shape[1]):
            i1 = min((i + 1) * by, values.shape[1])
            for j in range(out.shape[2]):
                j1 = min((j + 1) * bx, values.shape[2])
                total = 0
                count = 0
                for z in range(k * bz, k1):
                    for y in range(i * by, i1):
                        for x in range(j * bx, j1):
                            total += values[z, y, x]
                            count += 1
                out[k, i, j] = np.int16(np.floor(total / count + 0.5))


def coarsened(values: Voxels, block: Block) -> Voxels:
    """Block means of a volume.

    Examples
    --------
    >>> coarsened(np.arange(8, dtype=np.int16).reshape(2, 2, 2), (2, 2, 2)).item()
    4
    """
    out = np.empty(coarse_shape(values.shape, block), np.int16)
    block_means(values, block, out)
    return out


@njit(cache=True, nogil=True)
def mark_above(values: Voxels, threshold: float, center_share: float, out: Shares) -> None:
    """Set ``out`` to 1 where the value exceeds the threshold.

    The value is the voxel's own by ``center_share`` and the mean of its four neighbors in the
    slice by the rest: noise of single voxels is taken off where it is strong.
    """
    nz, ny, nx = values.shape
    side = (1.0 - center_share) / 4.0
    for z in range(nz):
        for y in range(ny):
            for x in range(nx):
                value = center_share * values[z, y, x]
                if side > 0.0:
                    value += side * values[z, max(y - 1, 0), x]
                    value += side * values[z, min(y + 1, ny - 1), x]
                    value += side * values[z, y, max(x - 1, 0)]
                    value += side * values[z, y, min(x + 1, nx - 1)]
                out[z, y, x] = 1 if value > threshold else 0


@njit(cache=True, nogil=True)
def block_shares(mask: Shares, block: Block, out: Shares) -> None:
    """Fill ``out`` with the share of nonzero voxels of each block, 255 for all."""
    bz, by, bx = block
    for k in range(out.shape[0]):
        k1 = min((k + 1) * bz, mask.shape[0])
        for i in range(out.shape[1]):
            i1 = min((i + 1) * by, mask.shape[1])
            for j in range(out.shape[2]):
                j1 = min((j + 1) * bx, mask.shape[2])
                total = 0
                count = 0
                for z in range(k * bz, k1):
                    for y in range(i * by, i1):
                        for x in range(j * bx, j1):
                            if mask[z, y, x] > 0:
                                total += 1
                            count += 1
                out[k, i, j] = np.uint8((255 * total) // count)
