"""Draws of values that noise can only raise, freed of that rise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog.entries import NoiseRaises

Floats = NDArray[np.float64]

SECOND_OF_FIRST = np.sqrt(2.0) - 1.0
"""What noise drawn once more adds to a largest value, over what the bone's own noise added: the
rise goes with the size of the noise, and two alike make one √2 times as large."""


def freed_of_rise(values: Floats, how: NoiseRaises) -> Floats:
    """Where the bone's own value may lie, given the measured one and its draws.

    Parameters
    ----------
    values
        The measured value, then its draws, (n + 1,); NaN draws stay NaN.

    Returns
    -------
    The measured value, then as many draws without the rise, (n + 1,), in no order; never negative.

    Notes
    -----
    The surface carries its noise once, so the measured value v is raised over the bone's own; the
    draws d carry it twice and are raised over v alike. Where noise adds to the square, d is
    reflected about v in squares: √(2v² − d²), or 0; where it adds to a sum, about v itself. A
    short distance may be one that noise has shortened: of its draws the upper half stays. The
    largest of many lies under v by the rise of the draws' median over :data:`SECOND_OF_FIRST`.
    Its draws jump up where noise makes a bump of nothing; noise cannot unmake one as easily, so
    that they spread upward as far as downward.
    """
    value, draws = values[0], values[1:]
    squares = np.sqrt(np.clip(2.0 * value**2 - draws**2, 0.0, None))
    if how is NoiseRaises.SQUARES:
        return np.append(value, squares)
    if how is NoiseRaises.DISTANCE:
        half = len(draws) // 2
        return np.concatenate([[value], np.sort(squares)[:half], np.sort(draws)[half:]])
    if how is NoiseRaises.SUMS:
        return np.append(value, np.clip(2.0 * value - draws, 0.0, None))
    ordered = np.sort(draws[np.isfinite(draws)])
    freed = np.full(len(draws), np.nan)
    if ordered.size:
        middle = float(np.median(ordered))
        own = value - max(middle - value, 0.0) / SECOND_OF_FIRST
        below = middle - ordered[: (ordered.size + 1) // 2]
        freed[: below.size] = own - below
        freed[below.size : ordered.size] = own + below[: ordered.size // 2]
        freed = np.maximum(freed, 0.0)
    return np.append(value, freed)
