"""The tables of a report: main findings, all measurements, change, grades."""

from __future__ import annotations

from collections.abc import Sequence

from hipwright.catalog import Catalog
from hipwright.catalog.headlines import headlines
from hipwright.domain.measurement import Measurement
from hipwright.domain.report import Cell, Column, Table
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.engines.reporting.range_bar import range_bar
from hipwright.engines.reporting.reported_case import (
    ReportedCase,
    ReportedChange,
    ReportedFilm,
    ReportedGrade,
    measured,
    own,
)

HEADLINE_COLUMNS = (
    Column(heading="Value", numeric=True, share=1.1),
    Column(heading="95 % interval", numeric=True, share=1.6),
    Column(heading="Class", share=4.2),
)


def headline_table(case: ReportedCase, film: ReportedFilm, catalog: Catalog) -> Table:
    """The main findings of one film."""
    found = {finding.definition: finding for finding in own(case, film)}
    rows = tuple(
        (
            Cell(text=found[key].name),
            Cell(text=value_with_unit(found[key])),
            Cell(text=interval_in_words(found[key])),
            _class_cell(found[key], catalog),
        )
        for key in headlines()
        if key in found
    )
    name = Column(heading=film.title, share=3.4)
    return Table(caption=film.title, columns=(name, *HEADLINE_COLUMNS), rows=rows)


MIND_POSITION = "mind the position of the pelvis, below"

COLUMNS = (
    Column(heading="Measurement", share=3.2),
    Column(heading="Value", numeric=True, share=1.2),
    Column(heading="95 % interval", numeric=True, share=1.7),
    Column(heading="Among its classes", share=1.9),
    Column(heading="Class", share=2.4),
    Column(heading="Other side", numeric=True, share=1.3),
)


def measurement_table(case: ReportedCase, film: ReportedFilm, catalog: Catalog) -> Table:
    """All measurements of one film."""
    other = {
        found.definition: found for found in measured(film) if found.side not in (case.side, None)
    }
    rows: list[tuple[Cell, ...]] = []
    for found in own(case, film):
        entry = catalog.measurement(found.definition)
        counterpart = other.get(found.definition)
        rows.append(
            (
                Cell(text=found.name, quiet=MIND_POSITION if found.quality_warning else ""),
                Cell(text=value_with_unit(found)),
                Cell(text=interval_in_words(found)),
                Cell(bar=range_bar(found, entry, sex=film.sex)),
                _class_cell(found, catalog),
                Cell(text="" if counterpart is None else value_with_unit(counterpart)),
            )
        )
    return Table(caption=f"Measurements, {film.title}", columns=COLUMNS, rows=tuple(rows))


def _class_cell(found: Measurement, catalog: Catalog) -> Cell:
    classed = found.classification
    if classed is None:
        return Cell(text="", quiet="no published range on the shelf")
    seen = catalog.reference(classed.reference.id).seen.value
    variant = "" if classed.variant == "this" else f", variant {classed.variant}"
    return Cell(text=classed.in_words(), quiet=f"{classed.scheme} [{seen}{variant}]")


CHANGE_COLUMNS = (
    Column(heading="Earlier", numeric=True),
    Column(heading="Later", numeric=True),
    Column(heading="Change", numeric=True),
    Column(heading="Against the smallest detectable change", share=3),
)


def change_tables(changes: Sequence[ReportedChange]) -> tuple[Table, ...]:
    """One table for every pair of films."""
    pairs = dict.fromkeys(change.pair for change in changes)
    return tuple(
        _change_table(pair, [change for change in changes if change.pair == pair])
        for pair in pairs
    )


def _change_table(pair: str, changes: Sequence[ReportedChange]) -> Table:
    rows = tuple(
        (
            Cell(text=c.name),
            Cell(text=c.earlier),
            Cell(text=c.later),
            Cell(text=c.change),
            Cell(text=c.verdict, quiet=c.source),
        )
        for c in changes
    )
    name = Column(heading=pair or "Measurement", share=3)
    return Table(
        caption=f"Change between two films of this hip: {pair}",
        columns=(name, *CHANGE_COLUMNS),
        rows=rows,
    )


def grade_table(grades: Sequence[ReportedGrade]) -> Table:
    """The graded readings."""
    columns = (
        Column(heading="Reading", share=2),
        Column(heading="Grade"),
        Column(heading="What it means", share=4),
        Column(heading="Reader"),
    )
    rows = tuple(
        (
            Cell(text=g.name, quiet=g.source),
            Cell(text=g.value),
            Cell(text=g.definition),
            Cell(text=g.observer),
        )
        for g in grades
    )
    return Table(caption="Readings entered by the reader", columns=columns, rows=rows)
