"""From single edges along single normals to one smooth displacement of a mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import sparse

from hipwright.engines.segmentation.edge_fit import EdgeFit

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_SURE_MM = 0.12  # an edge this sure counts once
_APART_MM, _APART_SD = 0.45, 1.6  # from the mean around: farther is rejected
_STIFFNESS = 1.5
_PASSES = 3
_NOTHING = 1e-9
_MISFIT_SHARE = 0.16  # of the step from soft tissue to cortex


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Displacement:
    """How far each vertex is to move along its normal, mm, and whose own edge was kept."""

    by_mm: Floats
    kept: Flags
    scatter_mm: float


def smooth_displacement(
    fit: EdgeFit,
    averaging: sparse.csr_array,
    *,
    step_hu: float,
    limit_mm: float,
    passes: int = _PASSES,
) -> Displacement:
    """Reject edges that do not fit or lie apart, and smooth what the others say.

    It is the displacement that is smoothed, not the surface: sharp rims stay.

    Parameters
    ----------
    fit
        Fitted edges.
    averaging
        Turns values at vertices into means of their neighbors.
    step_hu
        From soft tissue to cortex.
    limit_mm
        An edge farther away lies at the end of what was searched.
    passes
        How often is smoothed.
    """
    good = np.isfinite(fit.x0_mm) & (np.abs(fit.x0_mm) < limit_mm)
    good &= fit.misfit_hu < _MISFIT_SHARE * step_hu
    weight = np.where(good, 1.0 / (_SURE_MM**2 + fit.sd_mm**2), 0.0) * _SURE_MM**2
    edge = np.where(good, fit.x0_mm, 0.0)
    around = _around(averaging, edge, weight)
    apart = np.abs(edge - around)
    spread = _around(averaging, apart, weight)
    kept = good & ((apart < _APART_MM) | (apart < _APART_SD * spread))
    weight = np.where(kept, weight, 0.0)
    by = relaxed(
        averaging.indptr,
        averaging.indices,
        edge,
        weight,
        _filled(averaging, edge, weight),
        passes,
        _STIFFNESS,
    )
    scatter = float(np.sqrt(np.average((edge - by)[kept] ** 2))) if kept.any() else np.inf
    return Displacement(by_mm=by, kept=kept, scatter_mm=scatter)


def _around(averaging: sparse.csr_array, values: Floats, weight: Floats) -> Floats:
    """Weighted means over the neighbors and their neighbors."""
    above, below = weight * values, weight
    for _ in range(2):
        above, below = averaging @ above, averaging @ below
    return above / np.maximum(below, _NOTHING)


def _filled(averaging: sparse.csr_array, edge: Floats, weight: Floats) -> Floats:
    """The edges, with holes filled from around, wider and wider."""
    above, below = weight * edge, weight.copy()
    filled = np.where(weight > 0, edge, np.nan)
    for _ in range(40):
        if not np.isnan(filled).any():
            break
        above, below = averaging @ above, averaging @ below
        filled = np.where(
            np.isnan(filled) & (below > _NOTHING), above / np.maximum(below, _NOTHING), filled
        )
    return np.nan_to_num(filled)


@njit(cache=True, nogil=True)
def relaxed(
    starts: NDArray[np.int32],
    neighbors: NDArray[np.int32],
    edge: Floats,
    weight: Floats,
    start: Floats,
    passes: int,
    stiffness: float,
) -> Floats:
    """Pull each value to its own edge, by its weight, and to the mean around."""
    values = start.copy()
    for _ in range(passes):
        before = values.copy()
        for n in range(values.shape[0]):
            low, high = starts[n], starts[n + 1]
            if high == low:
                continue
            total = 0.0
            for k in range(low, high):
                total += before[neighbors[k]]
            mean = total / (high - low)
            values[n] = (weight[n] * edge[n] + stiffness * mean) / (weight[n] + stiffness)
    return values
