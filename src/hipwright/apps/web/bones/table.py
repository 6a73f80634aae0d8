"""The table of measurements in space, ready to be written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from hipwright.apps.web.bones.at_hand import MeasuredBones
from hipwright.apps.web.bones.measuring import side_of
from hipwright.catalog import Catalog
from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.domain.report import RangeBar
from hipwright.domain.side import Side
from hipwright.engines.reporting.bone_tables import SpaceRow, not_measured, side_by_side
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.engines.reporting.range_bar import range_bar


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One hip's value of a row; ``at_tilt`` says what it becomes, by posture."""

    text: str
    interval: str
    at_tilt: Mapping[str, str] = field(default_factory=dict[str, str])


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row of the table; ``doubtful`` is what the making of the bones asks to mind."""

    id: str
    name: str
    abbreviation: str
    own: Value | None
    other: Value | None
    difference: str
    bar: RangeBar | None
    words: str
    other_words: str
    scheme: str
    settles: str
    reason: str
    baseline: str
    notes: tuple[str, ...]
    doubtful: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The rows of one part of the hip."""

    name: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NumbersTable:
    """Everything the table shows; ``lacking`` has name and reason of what is not measured."""

    groups: tuple[Group, ...]
    lacking: tuple[tuple[str, str], ...]

    @property
    def count(self) -> int:
        """Rows with a value."""
        return sum(len(group.lines) for group in self.groups)


def numbers_table(
    measured: MeasuredBones, side: Side, catalog: Catalog, *, sex: str | None
) -> NumbersTable:
    """Lay out what both hips measure, the case's own first."""
    own, other = side_of(measured, side), side_of(measured, side.opposite)
    groups: list[Group] = []
    for group in side_by_side(own.findings, other.findings, catalog):
        lines = tuple(
            _line(row, own.tilted, other.tilted, catalog, sex)
            for row in group.rows
            if row.measured is not None
        )
        if lines:
            groups.append(Group(name=group.name, lines=lines))
    return NumbersTable(groups=tuple(groups), lacking=not_measured(own.findings))


Tilted = Mapping[str, Sequence[Finding]]


def _line(
    row: SpaceRow, own_tilted: Tilted, other_tilted: Tilted, catalog: Catalog, sex: str | None
) -> Line:
    found = row.measured
    assert found is not None  # noqa: S101 (the caller leaves rows without a value out)
    classed = found.classification
    other = row.other if isinstance(row.other, Measurement) and row.other is not found else None
    return Line(
        id=row.entry.id,
        name=row.entry.name,
        abbreviation=row.entry.abbreviation,
        own=_value(row.own, own_tilted),
        other=_value(row.other, other_tilted),
        difference=row.difference,
        bar=range_bar(found, row.entry, sex=sex),
        words="" if classed is None else classed.in_words(),
        other_words=""
        if other is None or other.classification is None
        else other.classification.in_words(),
        scheme="" if classed is None else _scheme(found, catalog),
        settles=classed.settles if classed is not None and classed.is_split else "",
        reason=row.own.reason if isinstance(row.own, NotMeasured) else "",
        baseline=found.baseline,
        notes=found.notes,
        doubtful=found.quality_warning,
    )


def _value(found: Finding | None, tilted: Tilted) -> Value | None:
    if not isinstance(found, Measurement):
        return None
    return Value(
        text=value_with_unit(found),
        interval=interval_in_words(found),
        at_tilt={
            posture: told
            for posture, findings in tilted.items()
            if (told := _same_entry(found.definition, findings))
        },
    )


def _same_entry(definition: str, findings: Sequence[Finding]) -> str:
    for found in findings:
        if found.definition == definition and found.hour is None:
            return value_with_unit(found) if isinstance(found, Measurement) else "not measurable"
    return ""


def _scheme(found: Measurement, catalog: Catalog) -> str:
    classed = found.classification
    assert classed is not None  # noqa: S101 (asked only of classed values)
    seen = catalog.reference(classed.reference.id).seen.value
    variant = "" if classed.variant == "this" else f", variant {classed.variant}"
    return f"{classed.scheme} [{seen}{variant}]"
