"""From draws to an interval, and from an interval to classes in words."""

from __future__ import annotations

from functools import lru_cache
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from hipwright.catalog import Catalog
from hipwright.catalog.entries import MeasurementDefinition, ReferenceRange
from hipwright.domain.evidence import Estimate, Spread
from hipwright.domain.measurement import Classification, ClassShare
from hipwright.domain.study import View

Floats = NDArray[np.float64]

LEVEL = 0.95

FEWEST_FOR_A_CURVE = 50
CURVE_FITS = 0.05
"""Root-mean-square distance of draws from the curve, over their spread, up to which the curve
is taken for their distribution."""


def interval(values: Floats, spread: Spread = Spread.PROPAGATED) -> Estimate:
    """The placed value with the central 95 % of its draws.

    Parameters
    ----------
    values
        Shape (n + 1,): the placed value, then its draws; NaN draws are left out.
    """
    draws = values[1:][np.isfinite(values[1:])]
    low, high = _ends(draws) if draws.size else (values[0], values[0])
    return Estimate(
        value=float(values[0]), low=float(low), high=float(high), level=LEVEL, spread=spread
    )


def _ends(draws: Floats) -> tuple[float, float]:
    """The 2.5th and 97.5th percentile of draws.

    Read off a smooth curve through all of them (a cubic in their normal scores), which
    repeats far better than counting off the outermost fifteen; counted off where draws
    heap up in a place, as a sign's zero, and no smooth curve goes through them.
    """
    tail = (1 - LEVEL) / 2
    ordered = np.sort(draws)
    size = float(ordered.std())
    if len(draws) >= FEWEST_FOR_A_CURVE and size > 0:
        projector, ends = _curve(len(draws), tail)
        weights = projector @ ordered
        curve = _powers(len(draws)) @ weights
        if np.sqrt(np.mean((curve - ordered) ** 2)) <= CURVE_FITS * size:
            low, high = ends @ weights
            return float(low), float(high)
    low, high = np.quantile(ordered, [tail, 1 - tail])
    return float(low), float(high)


@lru_cache(maxsize=64)
def _powers(count: int) -> Floats:
    """Powers 0 to 3 of the normal scores of ``count`` ordered draws, (count, 4)."""
    scores: Floats = ndtri((np.arange(count) + 0.5) / count)
    return np.vander(scores, 4, increasing=True)


@lru_cache(maxsize=64)
def _curve(count: int, tail: float) -> tuple[Floats, Floats]:
    """What turns ordered draws into the curve's weights, and weights into its two ends."""
    score = float(ndtri(1 - tail))
    ends: Floats = np.vander(np.array([-score, score]), 4, increasing=True)
    powers = _powers(count)
    projector = cast("Floats", np.linalg.solve(powers.T @ powers, powers.T))
    return projector, ends


def classify(
    values: Floats,
    estimate: Estimate,
    definition: MeasurementDefinition,
    view: View,
    catalog: Catalog,
    *,
    sex: str | None = None,
) -> Classification | None:
    """The class of a value by the entry's first range for the view and the sex.

    Unrounded values are compared. Where the interval straddles a threshold the
    shares of the draws in each class are given, else the one class.

    Parameters
    ----------
    values
        Shape (n + 1,): the placed value, then its draws.
    estimate
        The value with the interval that was made of them.
    """
    chosen = definition.range_for(view, sex)
    if chosen is None:
        return None
    draws = values[1:][np.isfinite(values[1:])]
    own = band_of(float(values[0]), chosen)
    reached = {band_of(end, chosen) for end in (estimate.low, estimate.high)}
    straddles = bool(draws.size) and reached != {own}
    shares = _shares(draws, chosen) if straddles else (ClassShare(name=own, share=1.0),)
    return Classification(
        name=own,
        shares=shares,
        scheme=chosen.scheme,
        reference=catalog.reference(chosen.cite).citation(),
        variant=chosen.variant,
        settles=chosen.settles,
    )


def band_of(value: float, chosen: ReferenceRange) -> str:
    """The class a single value falls into."""
    return next(band.name for band in chosen.bands if band.low <= value < band.high)


def _shares(draws: Floats, chosen: ReferenceRange) -> tuple[ClassShare, ...]:
    edges = [band.low for band in chosen.bands[1:]]
    below = np.searchsorted(np.sort(draws), edges, side="left")
    counts = np.diff(below, prepend=0, append=len(draws)).tolist()
    shares = [
        ClassShare(name=band.name, share=count / len(draws))
        for band, count in zip(chosen.bands, counts, strict=True)
        if count
    ]
    return tuple(sorted(shares, key=lambda share: -share.share))
