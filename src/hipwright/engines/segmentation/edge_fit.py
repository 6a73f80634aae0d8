"""Where along each profile the bone ends: all walls of a grid compared, and averaged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.segmentation.edge_model import EdgeLevels, Floats, Walls, walls
from hipwright.engines.segmentation.edge_profiles import Profiles

_BINS = 6  # of the angle to the slices, each with a blur of its own
_CHUNK = 4096  # profiles compared at once
_FAR = 30.0  # twice the logarithm of how much less probable a wall may be to count
_NEAR_SD_MM = 0.8  # how well voxels tell where another bone begins
_MIDDLE_SLACK_MM = 0.35  # by how much the middle of a joint gap may lie outside the fitted gap


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeFit:
    """Fits of n profiles.

    Attributes
    ----------
    x0_mm, sd_mm
        Where the edge lies along the profile and how sure that is, averaged over walls.
    t_mm
        Thickness of cortex, averaged likewise.
    misfit_hu
        Root mean square of what the best wall does not explain.
    """

    x0_mm: Floats
    sd_mm: Floats
    t_mm: Floats
    misfit_hu: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeSearch:
    """The walls to choose from: without another bone, and with one."""

    x0_mm: Floats
    t_mm: Floats
    g_mm: Floats


COARSE = EdgeSearch(
    x0_mm=np.linspace(-2.1, 2.1, 19),
    t_mm=np.array([0.4, 0.8, 1.4, 2.4, 4.0]),
    g_mm=np.array([0.5, 1.0, 1.6, 2.4, 3.4]),
)
FINE = EdgeSearch(
    x0_mm=np.linspace(-0.9, 0.9, 16),
    t_mm=np.array([0.3, 0.5, 0.75, 1.05, 1.45, 2.0, 3.0, 4.5]),
    g_mm=np.array([0.4, 0.7, 1.0, 1.4, 1.9, 2.5, 3.2]),
)

BLURRED = EdgeSearch(
    x0_mm=np.linspace(-1.2, 1.2, 17),
    t_mm=np.array([0.4, 0.8, 1.2, 1.8, 2.6, 4.0]),
    g_mm=np.empty(0),
)


def fit_edges(
    profiles: Profiles,
    at_mm: Floats,
    levels: EdgeLevels,
    across: Floats,
    other_mm: Floats,
    middle_mm: Floats,
    search: EdgeSearch,
) -> EdgeFit:
    """Fit the edge of every profile.

    Parameters
    ----------
    profiles, at_mm
        (n, k) HU at places (k,) along the normals, outward positive.
    levels
        Gray levels and blur.
    across
        Square of the cosine between each normal and the slices' normal, (n,).
    other_mm
        Where voxels of another bone begin, (n,); infinite where there is none near.
    middle_mm
        Where the middle of a joint gap lies, (n,); infinite where none acts.
    search
        The walls to choose from.
    """
    count = len(profiles)
    result = np.full((4, count), np.nan)
    bins = np.minimum((across * _BINS).astype(np.int64), _BINS - 1)
    near = np.isfinite(other_mm)
    for number in range(_BINS):
        for beside in (False, True):
            rows = np.flatnonzero((bins == number) & (near == beside))
            if not len(rows):
                continue
            gaps = np.append(search.g_mm, np.inf) if beside else np.array([np.inf])
            grid = walls(
                at_mm,
                levels,
                (number + 0.5) / _BINS,
                x0_mm=search.x0_mm,
                t_mm=search.t_mm,
                g_mm=gaps,
            )
            for low in range(0, len(rows), _CHUNK):
                part = rows[low : low + _CHUNK]
                result[:, part] = _compared(profiles[part], grid, other_mm[part], middle_mm[part])
    return EdgeFit(x0_mm=result[0], sd_mm=result[1], t_mm=result[2], misfit_hu=result[3])


def explained(
    profiles: Profiles, at_mm: Floats, levels: EdgeLevels, across: Floats, search: EdgeSearch
) -> Floats:
    """How well the best wall explains each profile: twice a logarithm of probability, (n,).

    All profiles are taken to run at the mean angle to the slices, without another bone.
    """
    grid = walls(
        at_mm,
        levels,
        float(np.mean(across)),
        x0_mm=search.x0_mm,
        t_mm=search.t_mm,
        g_mm=np.array([np.inf]),
    )
    with_one = np.column_stack([profiles, np.ones(len(profiles), np.float32)])
    products = (with_one @ grid.projection).reshape(len(profiles), -1, 3)
    best = ((products**2).sum(axis=2) + grid.offset).max(axis=1)
    return best - (profiles.astype(np.float64) ** 2) @ grid.weight


def _compared(profiles: Profiles, grid: Walls, other: Floats, middle: Floats) -> Floats:
    """Edge, its spread, thickness and misfit of some profiles, (4, n)."""
    with_one = np.column_stack([profiles, np.ones(len(profiles), np.float32)])
    found = weighed(
        with_one @ grid.projection,
        grid.offset,
        grid.occam,
        np.stack([grid.x0_mm, grid.t_mm, grid.g_mm]),
        other,
        middle,
    )
    whole = (profiles.astype(np.float64) ** 2) @ grid.weight
    unexplained = np.maximum(whole - found[3], 0.0) / grid.weight.sum()
    return np.stack([found[0], found[1], found[2], np.sqrt(unexplained)])


@njit(cache=True, nogil=True)
def weighed(
    products: NDArray[np.float32],
    offset: NDArray[np.float32],
    occam: NDArray[np.float32],
    wall: Floats,
    other: Floats,
    middle: Floats,
) -> Floats:
    """Average all walls by their probability: edge, its spread, thickness, best explanation."""
    count, number = products.shape[0], offset.shape[0]
    score = np.empty(number)
    found = np.empty((4, count))
    for n in range(count):
        best, where = -np.inf, 0
        for w in range(number):
            s = float(offset[w])
            for j in range(3):
                s += products[n, 3 * w + j] * products[n, 3 * w + j]
            gap = wall[2, w]
            if gap < np.inf:
                s -= ((wall[0, w] + gap - other[n]) / _NEAR_SD_MM) ** 2
                if middle[n] < np.inf:
                    low = wall[0, w] - middle[n] - _MIDDLE_SLACK_MM
                    high = middle[n] - wall[0, w] - gap - _MIDDLE_SLACK_MM
                    s -= 25.0 * max(low, high, 0.0) ** 2
            elif middle[n] < np.inf:
                s -= 25.0 * max(wall[0, w] - middle[n] - _MIDDLE_SLACK_MM, 0.0) ** 2
            score[w] = s
            if s > best:
                best, where = s, w
        total, first, second, thick = 0.0, 0.0, 0.0, 0.0
        for w in range(number):
            less = best - score[w]
            if less < _FAR:
                share = np.exp(-0.5 * less)
                total += share
                first += share * wall[0, w]
                second += share * wall[0, w] ** 2
                thick += share * wall[1, w]
        edge = first / total
        found[0, n] = edge
        found[1, n] = np.sqrt(max(second / total - edge * edge, 0.0))
        found[2, n] = thick / total
        found[3, n] = best - occam[where]
    return found
