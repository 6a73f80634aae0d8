"""The part of a hip's report that comes from bone models."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from hipwright.catalog import Catalog
from hipwright.catalog.entries import MeasurementDefinition
from hipwright.domain.measurement import Finding, Measurement
from hipwright.domain.report import (
    Block,
    Cell,
    ClockRow,
    Column,
    Facts,
    Notice,
    Paragraph,
    Section,
    Table,
)
from hipwright.engines.reporting.bone_clock import clock_face
from hipwright.engines.reporting.bone_tables import (
    SpaceGroup,
    SpaceRow,
    not_measured,
    series_of,
    side_by_side,
)
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.engines.reporting.range_bar import range_bar

MOST_FACES = 2
"""Clock faces side by side on a page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedBones:
    """What the bones of one scan measure, as the report needs it.

    ``own_name`` and ``other_name`` are the hips in words; ``refusals``, ``warnings`` and
    ``notes`` what was remarked. ``tilted`` has, by posture and its tilt in words, the values of
    the own hip that change with the pelvis's tilt.
    """

    title: str
    own_name: str
    other_name: str
    own: tuple[Finding, ...]
    other: tuple[Finding, ...]
    facts: tuple[tuple[str, str], ...]
    refusals: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    tilted: Mapping[str, tuple[Finding, ...]] = field(
        default_factory=dict[str, tuple[Finding, ...]]
    )
    sex: str | None = None

    @property
    def measured(self) -> list[Measurement]:
        """What was measured of the own hip."""
        return [found for found in self.own if isinstance(found, Measurement)]


def bone_section(bones: ReportedBones, catalog: Catalog) -> Section:
    """Everything the bones say of a hip, refusals first."""
    return Section(title=bones.title, blocks=tuple(_blocks(bones, catalog)))


def _blocks(bones: ReportedBones, catalog: Catalog) -> Iterator[Block]:
    for title, texts in (("Refused", bones.refusals), ("Mind", bones.warnings)):
        if texts:
            yield Notice(title=title, text=" ".join(texts))
    yield Facts(rows=bones.facts)
    groups = side_by_side(bones.own, bones.other, catalog)
    if not any(row.measured for group in groups for row in group.rows):
        yield Paragraph(text="Nothing could be measured on these bones.")
    for group in groups:
        table = _group_table(group, bones, catalog)
        if table.rows:
            yield table
    yield from _clocks(bones, catalog)
    if bones.tilted:
        yield _tilt_table(bones)
    lacking = not_measured(bones.own)
    if lacking:
        told = "; ".join(f"{name} ({reason})" for name, reason in lacking)
        yield Paragraph(text=f"Not measured on the bones: {told}.")
    for note in bones.notes:
        yield Paragraph(text=note)
    yield Paragraph(
        text="Values in space come from closed models of the bones, in the anterior pelvic plane. "
        "Their intervals hold 95 % of what the same construction gives when the surface moves "
        "within the noise of its making and every landmark within the spread of the program or "
        "the reader. Differences of the sides suppose that both doubts are independent."
    )


def _group_table(group: SpaceGroup, bones: ReportedBones, catalog: Catalog) -> Table:
    columns = (
        Column(heading=group.name.capitalize(), share=3.2),
        Column(heading=bones.own_name, numeric=True, share=1.3),
        Column(heading="95 % interval", numeric=True, share=1.7),
        Column(heading="Among its classes", share=1.7),
        Column(heading="Class", share=2.3),
        Column(heading=bones.other_name, numeric=True, share=1.3),
        Column(heading="Difference", numeric=True, share=1.5),
    )
    rows = tuple(
        _row(row, bones, catalog) for row in group.rows if isinstance(row.own, Measurement)
    )
    return Table(caption=f"{group.name.capitalize()}, in space", columns=columns, rows=rows)


def _row(row: SpaceRow, bones: ReportedBones, catalog: Catalog) -> tuple[Cell, ...]:
    own = row.own
    assert isinstance(own, Measurement)  # noqa: S101 (the caller leaves the others out)
    other = row.other
    difference, _, interval = row.difference.partition(" (")
    return (
        Cell(text=own.name, quiet="; ".join((*own.notes, own.quality_warning)).strip("; ")),
        Cell(text=value_with_unit(own)),
        Cell(text=interval_in_words(own)),
        Cell(bar=range_bar(own, row.entry, sex=bones.sex)),
        _class_cell(own, catalog),
        Cell(text=value_with_unit(other) if isinstance(other, Measurement) else ""),
        Cell(text=difference, quiet=interval.removesuffix(")")),
    )


def _class_cell(found: Measurement, catalog: Catalog) -> Cell:
    classed = found.classification
    if classed is None:
        return Cell(text="", quiet="no published range")
    seen = catalog.reference(classed.reference.id).seen.value
    variant = "" if classed.variant == "this" else f", variant {classed.variant}"
    return Cell(text=classed.in_words(), quiet=f"{classed.scheme} [{seen}{variant}]")


def _clocks(bones: ReportedBones, catalog: Catalog) -> Iterator[ClockRow]:
    series = series_of([*bones.own, *bones.other], catalog)
    hips = ((bones.own_name, bones.own), (bones.other_name, bones.other))
    drawn = [(entry, clock_face(entry, hips, sex=bones.sex)) for entry in series]
    faces = [(entry, face) for entry, face in drawn if face is not None]
    for start in range(0, len(faces), MOST_FACES):
        pair = faces[start : start + MOST_FACES]
        yield ClockRow(
            faces=tuple(face for _, face in pair), caption=_caption([e for e, _ in pair], bones)
        )


def _caption(entries: Sequence[MeasurementDefinition], bones: ReportedBones) -> str:
    names = [entry.name[:1].lower() + entry.name[1:] for entry in entries]
    told = names[0] if len(names) == 1 else f"left: {names[0]}; right: {names[1]}"
    return (
        f"{told[:1].upper()}{told[1:]}. {bones.own_name}: line and dots; {bones.other_name}: "
        "dashed, diamonds. 12 above, 3 in front for either hip; pale bars are 95 % intervals, "
        "dotted rings thresholds."
    )


def _tilt_table(bones: ReportedBones) -> Table:
    postures = tuple(bones.tilted)
    rows: list[tuple[Cell, ...]] = []
    for found in bones.measured:
        becomes = [_same(found, bones.tilted[posture]) for posture in postures]
        if found.hour is not None or not any(becomes):
            continue
        rows.append(
            (
                Cell(text=found.name),
                Cell(text=value_with_unit(found), quiet=interval_in_words(found)),
                *(_tilted_cell(found, other) for other in becomes),
            )
        )
    columns = (
        Column(heading="What changes with the pelvis's tilt", share=3.2),
        Column(heading="In the anterior pelvic plane", numeric=True, share=1.8),
        *(Column(heading=posture.capitalize(), numeric=True, share=1.8) for posture in postures),
    )
    return Table(caption="What changes with the pelvis's tilt", columns=columns, rows=tuple(rows))


def _tilted_cell(found: Measurement, other: Measurement | None) -> Cell:
    if other is None:
        return Cell(text="not measurable")
    words = "" if other.classification is None else other.classification.in_words()
    before = "" if found.classification is None else found.classification.in_words()
    return Cell(text=value_with_unit(other), quiet=words if words != before else "")


def _same(found: Measurement, findings: Sequence[Finding]) -> Measurement | None:
    fitting = (
        f for f in findings if isinstance(f, Measurement) and f.definition == found.definition
    )
    return next(fitting, None)
