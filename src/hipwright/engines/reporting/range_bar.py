"""The small bar that shows a value, its interval and the classes it lies among."""

from __future__ import annotations

from hipwright.catalog.entries import MeasurementDefinition
from hipwright.domain.measurement import Measurement
from hipwright.domain.report import RangeBar
from hipwright.engines.reporting.numbers import interval_in_words, spoken_unit, value_with_unit

MARGIN = 0.6
"""Track beyond the outermost thresholds, as a share of their distance."""

LONE_THRESHOLD_SPAN = 10.0
"""Track on both sides of a single threshold at zero, in the entry's unit."""


def range_bar(
    found: Measurement, definition: MeasurementDefinition, *, sex: str | None
) -> RangeBar | None:
    """Lay a measurement out on the track of its classes, ``None`` where it has no classes.

    ``sex`` chooses between ranges of the sexes, as it did when the value was classed.
    """
    chosen = definition.range_for(found.view, sex)
    if chosen is None or found.classification is None:
        return None
    edges = [band.high for band in chosen.bands[:-1]]
    start, end = _track(edges, found)

    def share(value: float) -> float:
        return min(1.0, max(0.0, (value - start) / (end - start)))

    bands = tuple((band.name, share(band.low), share(band.high)) for band in chosen.bands)
    e = found.estimate
    label = (
        f"{value_with_unit(found)}, interval {interval_in_words(found)} "
        f"{spoken_unit(found.unit)}: {found.classification.in_words()}"
    )
    return RangeBar(
        bands=tuple(band for band in bands if band[2] > band[1]),
        value=share(e.value),
        low=share(e.low),
        high=share(e.high),
        label=label,
    )


def _track(edges: list[float], found: Measurement) -> tuple[float, float]:
    width = edges[-1] - edges[0]
    if width == 0:
        width = abs(edges[0]) / 2 or LONE_THRESHOLD_SPAN
    e = found.estimate
    start = min(edges[0] - MARGIN * width, e.low, e.value)
    end = max(edges[-1] + MARGIN * width, e.high, e.value)
    pad = (end - start) / 50
    return start - pad, end + pad
