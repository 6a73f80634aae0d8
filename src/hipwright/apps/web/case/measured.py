"""What a case measures, as rows ready to be written."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from hipwright.catalog import load
from hipwright.catalog.entries import MeasurementDefinition
from hipwright.domain.keeping import Image
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.workflows.measure_hip import ReadImage


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measurement of the table, ready to be written."""

    definition: MeasurementDefinition
    image: Image
    value: str
    interval: str
    bar: Any
    words: str
    settles: str
    seen: str
    other: str
    warning: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lacking:
    """A measurement that no film of the case has, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The rows of one part of the hip."""

    name: str
    rows: tuple[Row, ...]


def groups(read: Sequence[ReadImage], side: Side, *, sex: str | None = None) -> tuple[Group, ...]:
    """The newest value of every measurement, in the order of the catalog."""
    from hipwright.workflows.latest_findings import latest_findings

    catalog = load()
    places = {key: number for number, key in enumerate(catalog.measurements)}
    latest = sorted(
        latest_findings(read, side),
        key=lambda found: (
            places.get(found.measurement.definition, len(places)),
            found.measurement.view.value,
        ),
    )
    rows: dict[str, list[Row]] = {}
    for found in latest:
        entry = catalog.measurement(found.measurement.definition)
        row = _row(found.measurement, found.other_side, found.image, entry, sex)
        rows.setdefault(entry.group, []).append(row)
    return tuple(Group(name=name, rows=tuple(some)) for name, some in rows.items())


def _row(
    found: Measurement,
    other: Measurement | None,
    image: Image,
    entry: MeasurementDefinition,
    sex: str | None,
) -> Row:
    from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
    from hipwright.engines.reporting.range_bar import range_bar

    classed = found.classification
    return Row(
        definition=entry,
        image=image,
        value=value_with_unit(found),
        interval=interval_in_words(found),
        bar=range_bar(found, entry, sex=sex),
        words="" if classed is None else classed.in_words(),
        settles=classed.settles if classed is not None and classed.is_split else "",
        seen="" if classed is None else _source(classed.reference),
        other="" if other is None else value_with_unit(other),
        warning=found.quality_warning,
        notes=found.notes,
    )


def _source(citation: Any) -> str:
    known = "" if citation.seen.is_first_hand else f" [{citation.seen.value}]"
    return f"{citation.text}{known}"


def in_short(found: Sequence[Group]) -> tuple[Row, ...]:
    """The rows that a summary tells, most telling first."""
    from hipwright.catalog.headlines import headlines

    places = {key: number for number, key in enumerate(headlines())}
    rows = [row for group in found for row in group.rows if row.definition.id in places]
    return tuple(sorted(rows, key=lambda row: places[row.definition.id]))


def lacking(read: Iterable[ReadImage], side: Side) -> tuple[Lacking, ...]:
    """What was not measured on the films that were read, each once."""
    have: set[str] = set()
    why: dict[str, Lacking] = {}
    for shown in read:
        if shown.reading is None:
            continue
        for found in shown.findings:
            if found.side not in {side, None}:
                continue
            if isinstance(found, NotMeasured):
                why[found.definition] = Lacking(name=found.name, reason=found.reason)
            else:
                have.add(found.definition)
    return tuple(one for key, one in why.items() if key not in have)
