"""Gray values along rays: linear interpolation in an upright volume."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rays = NDArray[np.float32]
Voxels = NDArray[np.int16]

OUTSIDE_HU = -1000.0
"""What a ray sees beyond the field: neither bone nor joint."""


def even_directions(count: int) -> Floats:
    """Unit vectors spread evenly over the sphere (golden spiral), shape (count, 3).

    Examples
    --------
    >>> float(np.abs(even_directions(500).mean(axis=0)).max()) < 0.01
    True
    """
    k = np.arange(count) + 0.5
    z = 1.0 - 2.0 * k / count
    turn = np.pi * (1.0 + np.sqrt(5.0)) * k
    flat = np.sqrt(1.0 - z**2)
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1)


@njit(cache=True, nogil=True, inline="always")
def value_at(values: Voxels, step_mm: Floats, x: float, y: float, z: float) -> float:
    """Value at upright (x, y, z) mm from the first voxel; ``OUTSIDE_HU`` beyond the field."""
    p, q, r = z / step_mm[2], y / step_mm[1], x / step_mm[0]
    nz, ny, nx = values.shape
    if p < 0 or q < 0 or r < 0 or p > nz - 1 or q > ny - 1 or r > nx - 1:
        return -1000.0
    k, i, j = int(p), int(q), int(r)
    k1, i1, j1 = min(k + 1, nz - 1), min(i + 1, ny - 1), min(j + 1, nx - 1)
    fk, fi, fj = p - k, q - i, r - j
    low = (1 - fi) * ((1 - fj) * values[k, i, j] + fj * values[k, i, j1])
    low += fi * ((1 - fj) * values[k, i1, j] + fj * values[k, i1, j1])
    high = (1 - fi) * ((1 - fj) * values[k1, i, j] + fj * values[k1, i, j1])
    high += fi * ((1 - fj) * values[k1, i1, j] + fj * values[k1, i1, j1])
    return (1 - fk) * low + fk * high


@njit(cache=True, nogil=True)
def cast_rays(
    values: Voxels,
    step_mm: Floats,
    center: Floats,
    directions: Floats,
    first_mm: float,
    pace_mm: float,
    out: Rays,
) -> None:
    """Fill ``out`` (rays, samples) with values from ``first_mm`` on along each direction."""
    for ray in range(directions.shape[0]):
        dx, dy, dz = directions[ray, 0], directions[ray, 1], directions[ray, 2]
        for s in range(out.shape[1]):
            r = first_mm + s * pace_mm
            out[ray, s] = value_at(
                values, step_mm, center[0] + r * dx, center[1] + r * dy, center[2] + r * dz
            )


def rays_from(
    values: Voxels,
    step_mm: Floats,
    center: Floats,
    directions: Floats,
    *,
    first_mm: float,
    pace_mm: float,
    samples: int,
) -> Rays:
    """Values along rays from one center, shape (rays, samples).

    Parameters
    ----------
    values
        Upright voxels (z, y, x).
    step_mm
        Spacing along x, y, z.
    center
        Upright (x, y, z) mm from the first voxel.
    directions
        Unit vectors, shape (rays, 3).
    first_mm, pace_mm, samples
        Where the samples lie along each ray.
    """
    out = np.empty((len(directions), samples), np.float32)
    cast_rays(values, step_mm, center, directions, first_mm, pace_mm, out)
    return out
