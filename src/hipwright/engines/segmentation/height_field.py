"""The cheapest smooth height over a grid: semi-global dynamic programming.

Costs are summed along eight directions of the grid; a step of height between neighbors costs
in proportion, up to a limit that hardly ever pays (two bones never change places).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Costs = NDArray[np.float32]
Floats = NDArray[np.float64]

STEP_COST = 0.25
"""Of one step of height between neighbors, against costs of about -1.5 to 0."""

JUMP_COST = 6.0
"""Most that a step may cost: practically no jumps."""

_WAYS = ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1))


@njit(cache=True, nogil=True)
def _relaxed(line: Costs, step: float, jump: float) -> None:
    """Lower each entry to the cheapest other one plus the cost of the way, in place."""
    count = line.shape[0]
    least = line[0]
    for d in range(1, count):
        least = min(least, line[d])
        line[d] = min(line[d], line[d - 1] + step)
    for d in range(count - 2, -1, -1):
        line[d] = min(line[d], line[d + 1] + step)
    for d in range(count):
        line[d] = min(line[d], least + jump) - least


@njit(cache=True, nogil=True)
def add_way(
    costs: Costs,
    dr: int,
    dc: int,
    step: float,
    jump: float,
    around: bool,  # noqa: FBT001 (compiled by position)
    total: Costs,
) -> None:
    """Add the cheapest cost of reaching each height along one direction to ``total``."""
    rows, columns, heights = costs.shape
    carried = np.empty((columns, heights), np.float32)
    before = np.zeros((columns, heights), np.float32)
    if dr == 0:
        line = np.empty(heights, np.float32)
        laps = 2 if around else 1
        for r in range(rows):
            for n in range(columns * laps):
                c = n % columns if dc > 0 else (columns * laps - 1 - n) % columns
                if n == 0:
                    line[:] = costs[r, c]
                else:
                    _relaxed(line, step, jump)
                    line += costs[r, c]
                if n >= columns * (laps - 1):
                    total[r, c] += line
        return
    for n in range(rows):
        r = n if dr > 0 else rows - 1 - n
        for c in range(columns):
            source = c - dc
            if around:
                source = source % columns
            if n == 0 or source < 0 or source >= columns:
                carried[c] = costs[r, c]
            else:
                carried[c] = before[source]
                _relaxed(carried[c], step, jump)
                carried[c] += costs[r, c]
            total[r, c] += carried[c]
        before, carried = carried, before


def cheapest_heights(
    costs: Costs, *, around: bool, step_cost: float = STEP_COST, jump_cost: float = JUMP_COST
) -> Floats:
    """The smooth height of least cost at each node, in samples between.

    Parameters
    ----------
    costs
        Shape (rows, columns, heights).
    around
        Whether the last column lies beside the first.
    step_cost, jump_cost
        Cost of one step between neighbors, and the most that any difference costs.

    Examples
    --------
    >>> costs = np.zeros((3, 4, 5), np.float32)
    >>> costs[:, :, 2] = -1.0
    >>> float(cheapest_heights(costs, around=True)[1, 1])
    2.0
    """
    total = np.zeros_like(costs)
    for dr, dc in _WAYS:
        add_way(costs, dr, dc, step_cost, jump_cost, around, total)
    best = total.argmin(axis=2)
    inner = np.clip(best, 1, costs.shape[2] - 2)
    rows, columns = np.ogrid[: best.shape[0], : best.shape[1]]
    low, middle, high = (
        np.asarray(total[rows, columns, inner + k], dtype=np.float64) for k in (-1, 0, 1)
    )
    bend = low - 2 * middle + high
    shift = np.where(bend > 1e-6, 0.5 * (low - high) / np.maximum(bend, 1e-6), 0.0)  # noqa: PLR2004 (not by zero)
    return np.asarray(
        np.where(best == inner, inner + np.clip(shift, -0.5, 0.5), best), dtype=np.float64
    )
