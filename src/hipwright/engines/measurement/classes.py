"""From draws to an interval, and from an interval to classes in words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.entries import MeasurementDefinition, ReferenceRange
from hipwright.domain.evidence import Estimate, Spread
from hipwright.domain.measurement import Classification, ClassShare
from hipwright.domain.study import View

Floats = NDArray[np.float64]

LEVEL = 0.95


def interval(values: Floats, spread: Spread = Spread.PROPAGATED) -> Estimate:
    """The placed value with the central 95 % of its draws.

    Parameters
    ----------
    values
        Shape (n + 1,): the placed value, then its draws; NaN draws are left out.
    """
    draws = values[1:][np.isfinite(values[1:])]
    tail = 100 * (1 - LEVEL) / 2
    if draws.size:
        low, high = np.percentile(draws, [tail, 100 - tail])
    else:
        low = high = values[0]
    return Estimate(
        value=float(values[0]), low=float(low), high=float(high), level=LEVEL, spread=spread
    )


def classify(
    values: Floats,
    definition: MeasurementDefinition,
    view: View,
    catalog: Catalog,
    *,
    sex: str | None = None,
) -> Classification | None:
    """The class of a value by the entry's first range for the view and the sex.

    Unrounded values are compared. The shares are of the draws; where all draws
    agree with the placed value there is one.

    Parameters
    ----------
    values
        Shape (n + 1,): the placed value, then its draws.
    """
    chosen = definition.range_for(view, sex)
    if chosen is None:
        return None
    draws = values[1:][np.isfinite(values[1:])]
    own = band_of(float(values[0]), chosen)
    shares = _shares(draws, chosen) if draws.size else (ClassShare(name=own, share=1.0),)
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
    shares = [
        ClassShare(name=band.name, share=float(np.mean((band.low <= draws) & (draws < band.high))))
        for band in chosen.bands
    ]
    reached = [share for share in shares if share.share > 0]
    return tuple(sorted(reached, key=lambda share: -share.share))
