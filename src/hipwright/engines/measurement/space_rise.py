"""Draws of values that noise can only raise, freed of that rise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog.entries import NoiseRaises

Floats = NDArray[np.float64]


def freed_of_rise(values: Floats, how: NoiseRaises) -> Floats:
    """Where the bone's own value may lie, given the measured one and its draws.

    Parameters
    ----------
    values
        The measured value, then its draws, (n + 1,); NaN draws stay NaN.

    Returns
    -------
    The measured value, then the draws without the rise, (n + 1,).

    Notes
    -----
    The surface carries its noise once, so the measured value v is raised over the bone's own; the
    draws d carry it twice and are raised over v alike. As far as d lies over v, the bone's own
    lies under v: reflected about v, in squares where noise adds to the square (√(2v² − d²), or 0).
    Where the draws jump, as the largest of many angles does, the reflected ones would lie
    far below anything that is there; these keep their spread and are lowered by twice the
    rise of their median.
    """
    value, draws = values[0], values[1:]
    if how is NoiseRaises.SQUARES:
        freed = np.sqrt(np.clip(2.0 * value**2 - draws**2, 0.0, None))
    else:
        there = draws[np.isfinite(draws)]
        rise = float(np.median(there)) - value if there.size else 0.0
        freed = draws - 2.0 * max(rise, 0.0)
    return np.append(value, freed)
