"""Values by clock hour laid out as a clock face: 12 above, 3 in front, for either hip.

Places are shares of the face's radius, x to the right (front) and y down; nothing here knows
of markup. Both hips share one face: a left one is shown as its mirror image would be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from hipwright.catalog.entries import MeasurementDefinition
from hipwright.domain.clock_face import ClockFace, ClockRing, ClockSeries, ClockValue, Place
from hipwright.domain.measurement import Finding, Measurement
from hipwright.engines.anatomy.clock import angle_from_hour
from hipwright.engines.reporting.numbers import (
    hour_in_words,
    interval_in_words,
    value_with_unit,
    written,
)

_Radius = Callable[[float], float]

INNERMOST = 0.22
"""Radius of the lowest value's ring, as a share of the face: below it hours crowd together."""

MOST_RINGS = 5

NEIGHBORS = 1.5
"""Hours further apart than this many steps of their series are no neighbors."""

LEAST_STEPS = 60.0
NICE_STEPS = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)


def clock_face(
    entry: MeasurementDefinition,
    hips: Sequence[tuple[str, Sequence[Finding]]],
    *,
    sex: str | None = None,
) -> ClockFace | None:
    """Lay the hours of a series out, ``None`` where no hip has any.

    Parameters
    ----------
    entry
        The series.
    hips
        Name in words and findings of each hip; findings of other entries are passed over.
    sex
        Chooses between ranges of the sexes.
    """
    found = [
        (name, [f for f in findings if isinstance(f, Measurement) and f.definition == entry.id])
        for name, findings in hips
    ]
    every = [one for _, series in found for one in series]
    if not every or not entry.hours:
        return None
    chosen = entry.range_for(every[0].view, sex)
    edges = () if chosen is None else tuple(band.high for band in chosen.bands[:-1])
    reached = [x for f in every for x in (f.value, f.estimate.low, f.estimate.high)]
    low, high, step = _scale(reached, edges, entry)

    def radius(value: float) -> float:
        share = (value - low) / (high - low)
        return INNERMOST + (1 - INNERMOST) * min(1.0, max(0.0, share))

    count = round((high - low) / step)
    unit = every[0].unit.label
    rings = [
        ClockRing(radius=radius(low + n * step), text=written(low + n * step, step) + unit)
        for n in range(count + 1)
    ]
    if chosen is not None:
        rings += [
            ClockRing(
                radius=radius(edge),
                text=written(edge, entry.reported_to) + unit,
                threshold=f"{below.name} below, {above.name} from",
            )
            for edge, below, above in zip(edges, chosen.bands, chosen.bands[1:], strict=False)
            if low <= edge <= high
        ]
    return ClockFace(
        definition=entry.id,
        title=entry.name,
        rings=tuple(rings),
        hours=tuple((str(hour), _at(hour, INNERMOST), _at(hour, 1.0)) for hour in range(1, 13)),
        series=tuple(_series(name, series, entry, radius) for name, series in found if series),
        label=_in_words(entry, found),
    )


def _series(
    name: str, found: Sequence[Measurement], entry: MeasurementDefinition, radius: _Radius
) -> ClockSeries:
    ordered = sorted(found, key=lambda f: (f.hour or 0.0) % 12)
    values = tuple(
        ClockValue(
            hour=one.hour or 0.0,
            at=_at(one.hour or 0.0, radius(one.value)),
            low=_at(one.hour or 0.0, radius(one.estimate.low)),
            high=_at(one.hour or 0.0, radius(one.estimate.high)),
            text=value_with_unit(one),
            interval=interval_in_words(one),
            words="" if one.classification is None else one.classification.in_words(),
        )
        for one in ordered
    )
    return ClockSeries(name=name, values=values, runs=_runs(values, entry.hours))


def _runs(values: Sequence[ClockValue], hours: Sequence[float]) -> tuple[tuple[Place, ...], ...]:
    """Join neighbors on the clock; a missing hour parts them, and so does a gap of the series."""
    known = {round(v.hour % 12, 4): v.at for v in values}
    around = sorted({round(hour % 12, 4) for hour in hours})
    gaps = [(b - a) % 12 or 12.0 for a, b in pairwise([*around, around[0]])]
    wide = NEIGHBORS * min(gaps)
    parted = [
        n
        for n, (hour, gap) in enumerate(zip(around, gaps, strict=True))
        if gap > wide or hour not in known or around[(n + 1) % len(around)] not in known
    ]
    if not parted:
        closed = [known[hour] for hour in around]
        return ((*closed, closed[0]),)
    runs: list[tuple[Place, ...]] = []
    for before, last in zip([parted[-1] - len(around), *parted], parted, strict=False):
        run = [around[n % len(around)] for n in range(before + 1, last + 1)]
        if all(hour in known for hour in run):
            runs.append(tuple(known[hour] for hour in run))
    return tuple(runs)


def clock_place(hour: float, radius: float) -> Place:
    """Where an hour is on the face, x toward the front and y down."""
    return _at(hour, radius)


def _at(hour: float, radius: float) -> Place:
    turn = math.radians(angle_from_hour(hour % 12).degrees)
    return (round(radius * math.sin(turn), 4), round(-radius * math.cos(turn), 4))


def _scale(
    values: Sequence[float], edges: Sequence[float], entry: MeasurementDefinition
) -> tuple[float, float, float]:
    """Lowest and highest value of the face, and the step of its rings.

    A face spans at least :data:`LEAST_STEPS` of what is reported, or it would make much of
    what nobody can measure.
    """
    least, most = min((*values, *edges)), max((*values, *edges))
    span = max(most - least, LEAST_STEPS * entry.reported_to)
    least, most = (least + most - span) / 2, (least + most + span) / 2
    if min((*values, *edges)) >= 0 > least:  # lengths and ratios have no rings below nothing
        least, most = 0.0, max(span, most)
    step = next((s for s in NICE_STEPS if span / s <= MOST_RINGS - 1), NICE_STEPS[-1])
    low, high = math.floor(least / step) * step, math.ceil(most / step) * step
    return low, max(high, low + step), step


def _in_words(
    entry: MeasurementDefinition, found: Sequence[tuple[str, Sequence[Measurement]]]
) -> str:
    told = [f"{entry.name} around the clock."]
    for name, series in found:
        if series:
            least = min(series, key=lambda f: f.value)
            most = max(series, key=lambda f: f.value)
            told.append(
                f"{name}: from {value_with_unit(least)} at {hour_in_words(least.hour)} to "
                f"{value_with_unit(most)} at {hour_in_words(most.hour)}."
            )
    return " ".join(told)
