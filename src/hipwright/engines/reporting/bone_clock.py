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
LEAST_STEPS = 200.0
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
    """Join neighbors on the clock; a missing hour parts them."""
    known = {round(v.hour % 12, 4): v.at for v in values}
    around = sorted({round(hour % 12, 4) for hour in hours})
    if len(known) == len(around) and _goes_round(around):
        closed = [known[hour] for hour in around]
        return ((*closed, closed[0]),)
    gaps = [n for n, hour in enumerate(around) if hour not in known]
    start = 0
    if _goes_round(around) and gaps:
        start = gaps[0]
    turned = around[start:] + around[:start]
    runs: list[list[Place]] = [[]]
    for hour in turned:
        if hour in known:
            runs[-1].append(known[hour])
        elif runs[-1]:
            runs.append([])
    return tuple(tuple(run) for run in runs if run)


def _goes_round(around: Sequence[float]) -> bool:
    """Whether the hours of the series run all the way around the clock."""
    if len(around) < 3:  # noqa: PLR2004 (no circle has fewer)
        return False
    steps = [b - a for a, b in pairwise(around)]
    return around[0] + 12 - around[-1] <= 1.5 * max(steps)


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
