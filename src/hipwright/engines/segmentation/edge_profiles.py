"""Gray values along lines through a volume, read by cubic interpolation."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.domain.volume import VolumeGrid

Floats = NDArray[np.float64]
Profiles = NDArray[np.float32]


def profiles_along(
    values: NDArray[np.int16], grid: VolumeGrid, points: Floats, normals: Floats, at_mm: Floats
) -> Profiles:
    """Read the volume along the normals of points.

    Parameters
    ----------
    values, grid
        The voxels and where they lie.
    points, normals
        (n, 3) in ``patient_lps``.
    at_mm
        Rising places along each normal, (k,).

    Returns
    -------
    Profiles
        (n, k), HU. Beyond the volume its outermost voxels go on.
    """
    into = np.linalg.inv(grid.steps_mm)
    return cubic_profiles(
        values,
        np.ascontiguousarray((points - grid.origin_mm) @ into),
        np.ascontiguousarray(normals @ into),
        np.ascontiguousarray(at_mm, dtype=np.float64),
    )


@njit(cache=True, nogil=True)
def cubic_profiles(
    values: NDArray[np.int16], starts: Floats, steps: Floats, at: Floats
) -> Profiles:
    """Interpolate by the cubic of Catmull and Rom along all three axes (from memory)."""
    found = np.empty((starts.shape[0], at.shape[0]), np.float32)
    weights = np.empty((3, 4), np.float32)
    index = np.empty((3, 4), np.int64)
    for n in range(starts.shape[0]):
        for k in range(at.shape[0]):
            for axis in range(3):
                place = starts[n, axis] + at[k] * steps[n, axis]
                last = values.shape[axis] - 1
                place = min(max(place, 0.0), float(last))
                low = int(place)
                t = place - low
                weights[axis, 0] = ((-0.5 * t + 1.0) * t - 0.5) * t
                weights[axis, 1] = (1.5 * t - 2.5) * t * t + 1.0
                weights[axis, 2] = ((-1.5 * t + 2.0) * t + 0.5) * t
                weights[axis, 3] = (0.5 * t - 0.5) * t * t
                for j in range(4):
                    index[axis, j] = min(max(low - 1 + j, 0), last)
            total = np.float32(0.0)
            for a in range(4):
                plane = np.float32(0.0)
                for b in range(4):
                    row = values[index[0, a], index[1, b]]
                    plane += weights[1, b] * (
                        weights[2, 0] * row[index[2, 0]]
                        + weights[2, 1] * row[index[2, 1]]
                        + weights[2, 2] * row[index[2, 2]]
                        + weights[2, 3] * row[index[2, 3]]
                    )
                total += weights[0, a] * plane
            found[n, k] = total
    return found


def other_bone_mm(
    codes: NDArray[np.uint8],
    grid: VolumeGrid,
    points: Floats,
    normals: Floats,
    at_mm: Floats,
    own: int,
) -> Floats:
    """Where along the normals of points the voxels of another bone begin, (n,).

    ``at_mm`` are the places looked at, rising; infinite where there is none among them.
    """
    into = np.linalg.inv(grid.steps_mm)
    return first_other(
        codes,
        np.ascontiguousarray((points - grid.origin_mm) @ into),
        np.ascontiguousarray(normals @ into),
        np.ascontiguousarray(at_mm, dtype=np.float64),
        own,
    )


@njit(cache=True, nogil=True)
def first_other(
    codes: NDArray[np.uint8], starts: Floats, steps: Floats, at: Floats, own: int
) -> Floats:
    """First place whose nearest voxel is bone, but not the own one."""
    found = np.full(starts.shape[0], np.inf)
    for n in range(starts.shape[0]):
        for k in range(at.shape[0]):
            i = int(np.rint(starts[n, 0] + at[k] * steps[n, 0]))
            j = int(np.rint(starts[n, 1] + at[k] * steps[n, 1]))
            m = int(np.rint(starts[n, 2] + at[k] * steps[n, 2]))
            if 0 <= i < codes.shape[0] and 0 <= j < codes.shape[1] and 0 <= m < codes.shape[2]:
                code = codes[i, j, m]
                if code > 0 and code != own:
                    found[n] = at[k]
                    break
    return found
