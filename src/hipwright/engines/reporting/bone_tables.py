"""Measurements in space of both hips side by side, and how far the sides differ."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hipwright.catalog import Catalog
from hipwright.catalog.entries import EntryKind, MeasurementDefinition
from hipwright.domain.evidence import Estimate
from hipwright.domain.measurement import Finding, Measurement, NotMeasured, Unit
from hipwright.engines.reporting.numbers import MINUS, time_in_words, written


@dataclass(frozen=True, slots=True, kw_only=True)
class SpaceRow:
    """One entry of the catalog on both hips; ``own`` is the hip the page is about."""

    entry: MeasurementDefinition
    own: Finding | None
    other: Finding | None

    @property
    def measured(self) -> Measurement | None:
        """The measurement that tells class and unit: the own hip's, else the other's."""
        for found in (self.own, self.other):
            if isinstance(found, Measurement):
                return found
        return None

    @property
    def difference(self) -> str:
        """The own hip less the other one with its doubt, empty where one is missing."""
        if not (isinstance(self.own, Measurement) and isinstance(self.other, Measurement)):
            return ""
        return difference_in_words(self.own, self.other)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpaceGroup:
    """Rows of one part of the hip."""

    name: str
    rows: tuple[SpaceRow, ...]


def side_by_side(
    own: Sequence[Finding], other: Sequence[Finding], catalog: Catalog
) -> tuple[SpaceGroup, ...]:
    """Pair the single values of both hips in the order of the catalog; series are left out."""
    mine = {f.definition: f for f in own if f.hour is None}
    theirs = {f.definition: f for f in other if f.hour is None}
    groups: dict[str, list[SpaceRow]] = {}
    for entry in catalog.measurements.values():
        if not entry.is_in_space or entry.hours or entry.kind is EntryKind.GRADED:
            continue
        row = SpaceRow(entry=entry, own=mine.get(entry.id), other=theirs.get(entry.id))
        if row.own is not None or row.other is not None:
            groups.setdefault(entry.group, []).append(row)
    return tuple(SpaceGroup(name=name, rows=tuple(rows)) for name, rows in groups.items())


def series_of(found: Sequence[Finding], catalog: Catalog) -> tuple[MeasurementDefinition, ...]:
    """The entries that were measured by clock hour, in the order of the catalog."""
    have = {f.definition for f in found if isinstance(f, Measurement) and f.hour is not None}
    return tuple(e for e in catalog.measurements.values() if e.id in have)


def difference_in_words(own: Measurement, other: Measurement) -> str:
    """How much more the own hip measures: ``+3.1° (1.0 to 5.2)``.

    Places on the clock differ by hours and minutes, the shorter way round: ``+0:30 h``. The
    interval supposes that the doubts of the sides have nothing to do with each other, so it is
    rather too wide: what shifts both bones alike drops out of a difference.
    """
    between = difference(own.estimate, other.estimate)
    step, unit = own.reported_to, own.unit.label
    value, low, high = between.value, between.low, between.high
    if own.unit is Unit.CLOCK_HOUR:
        rounds = 12.0 * round(value / 12.0)
        told = [time_in_words(round((x - rounds) / step) * step) for x in (value, low, high)]
        unit = " h"
    else:
        told = [written(x, step) for x in (value, low, high)]
    is_more = told[0][0] != MINUS and any(digit in told[0] for digit in "123456789")
    return f"{'+' if is_more else ''}{told[0]}{unit} ({told[1]} to {told[2]})"


def difference(own: Estimate, other: Estimate) -> Estimate:
    """Own less other; half-intervals add as squares."""
    value = own.value - other.value
    down = math.hypot(own.value - own.low, other.high - other.value)
    up = math.hypot(own.high - own.value, other.value - other.low)
    return Estimate(
        value=value, low=value - down, high=value + up, level=own.level, spread=own.spread
    )


def not_measured(found: Sequence[Finding]) -> tuple[tuple[str, str], ...]:
    """Name and reason of what the bones do not allow; of a series only if no hour does."""
    have = {f.definition for f in found if isinstance(f, Measurement)}
    why: dict[str, tuple[str, str]] = {}
    for one in found:
        if isinstance(one, NotMeasured) and one.definition not in have:
            why.setdefault(one.definition, (one.name, one.reason))
    return tuple(why.values())
