"""The report of one hip: films, numbers, classes, doubts, sources."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from hipwright.catalog import Catalog
from hipwright.catalog.entries import Reference
from hipwright.catalog.headlines import headlines
from hipwright.domain.film_marks import Mark
from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.domain.report import (
    Block,
    Cell,
    Column,
    Document,
    Facts,
    FigureRow,
    FilmFigure,
    Listing,
    Notice,
    Paragraph,
    Section,
    Signature,
    Table,
)
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.engines.reporting.range_bar import range_bar
from hipwright.engines.reporting.sentences import baselines, findings_sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedPicture:
    """A part of a film and what is drawn over it; ``shows`` says what, for the caption."""

    crop_px: tuple[float, float, float, float]
    text_width_share: float
    marks: tuple[Mark, ...]
    shows: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedFilm:
    """One film as the report needs it.

    ``name`` is the view in words, ``when`` the date or the age, ``facts`` how it was taken,
    scaled and read.
    """

    image: str
    name: str
    when: str
    observer: str
    columns: int
    rows: int
    pictures: tuple[ReportedPicture, ...]
    findings: tuple[Finding, ...]
    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """View and date."""
        return f"{self.name}, {self.when}" if self.when else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedGrade:
    """One graded reading in words."""

    name: str
    value: str
    definition: str
    observer: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedChange:
    """One measurement on two films of the hip.

    ``pair`` names the two films, ``source`` where the smallest detectable change comes
    from; ``is_main`` says whether the letter tells it.
    """

    name: str
    earlier: str
    later: str
    change: str
    verdict: str
    pair: str = ""
    source: str = ""
    is_main: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedCase:
    """All facts of the report of one hip; ``side`` is the hip's, ``person`` who it is in words."""

    code: str
    side: object
    side_name: str
    person: tuple[tuple[str, str], ...]
    invented: bool
    made_on: str
    software: str
    caution: str
    films: tuple[ReportedFilm, ...]
    grades: tuple[ReportedGrade, ...] = ()
    changes: tuple[ReportedChange, ...] = ()


def case_report(case: ReportedCase, catalog: Catalog) -> Document:
    """Build the report of one hip.

    Parameters
    ----------
    case
        The facts.
    catalog
        For names, ranges and sources.
    """
    read = [film for film in case.films if _measured(film.findings)]
    sections = [
        Section(title="Findings", blocks=tuple(_findings(case, read, catalog))),
        *(_film_section(case, film, catalog) for film in read),
    ]
    if case.changes:
        sections.append(Section(title="Change between films", blocks=_changes(case.changes)))
    if case.grades:
        sections.append(Section(title="Graded readings", blocks=(_grades(case.grades),)))
    sections.append(Section(title="How to read this", blocks=tuple(_method(case, read, catalog))))
    title = f"{case.side_name.capitalize()} hip: film report"
    return Document(
        title=title,
        subtitle="Invented demonstration case: no real person" if case.invented else "",
        facts=Facts(
            rows=(("Case", case.code), *case.person, ("Made on", case.made_on)),
        ),
        sections=tuple(sections),
        footer=f"{case.code} · {case.software} · one input for licensed clinicians, "
        "not a medical device, not validated on clinical images",
    )


def _measured(findings: Iterable[Finding]) -> list[Measurement]:
    return [found for found in findings if isinstance(found, Measurement)]


def _findings(
    case: ReportedCase, read: Sequence[ReportedFilm], catalog: Catalog
) -> Iterator[Block]:
    yield Notice(title="Caution", text=case.caution)
    if not read:
        yield Paragraph(text="No film of this hip has been read yet, so nothing is measured.")
    for film in read:
        rows = tuple(_headline_rows(case, film, catalog))
        if rows:
            name = Column(heading=film.title, share=3.4)
            yield Table(caption=film.title, columns=(name, *HEADLINE_COLUMNS), rows=rows)
    for grade in case.grades:
        yield Paragraph(text=f"{grade.name}: {grade.value}, graded by {grade.observer}.")


HEADLINE_COLUMNS = (
    Column(heading="Value", numeric=True, share=1.1),
    Column(heading="95 % interval", numeric=True, share=1.6),
    Column(heading="Class", share=4.2),
)


def _headline_rows(
    case: ReportedCase, film: ReportedFilm, catalog: Catalog
) -> Iterator[tuple[Cell, ...]]:
    own = {found.definition: found for found in _own(case, film)}
    for found in (own[key] for key in headlines() if key in own):
        yield (
            Cell(text=found.name),
            Cell(text=value_with_unit(found)),
            Cell(text=interval_in_words(found)),
            _class_cell(found, catalog),
        )


def film_sentence(case: ReportedCase, film: ReportedFilm, catalog: Catalog) -> str:
    """One film's findings in words."""
    where = f"{film.title}, read by {film.observer}"
    return findings_sentence(where, case.side, film.findings, catalog)


def letter_text(case: ReportedCase, catalog: Catalog) -> str:
    """The findings as plain text for the clinic letter, with method, interval and caution."""
    head = f"{case.side_name.capitalize()} hip ({case.code})."
    films = [film_sentence(case, film, catalog) for film in case.films if _measured(film.findings)]
    grades = [f"{g.name}: {g.value} (graded by {g.observer})." for g in case.grades]
    changes = [_change_sentence(c) for c in case.changes if c.is_main]
    lines = films or ["No film has been read yet."]
    leveled = sorted({line for film in case.films for line in baselines(film.findings)})
    method = [f"Leveled by the {'; '.join(leveled)}."] if leveled else []
    return "\n".join([head, *lines, *changes, *grades, *method, case.caution])


def _film_section(case: ReportedCase, film: ReportedFilm, catalog: Catalog) -> Section:
    blocks: list[Block] = [
        FigureRow(figures=tuple(_figure(film, picture) for picture in film.pictures)),
        _measurement_table(case, film, catalog),
        Facts(rows=film.facts),
    ]
    mind = [*film.warnings, *_grouped((m.name, m.quality_warning) for m in _own(case, film))]
    mind += _grouped((m.name, note) for m in _own(case, film) for note in m.notes)
    if mind:
        blocks.append(Notice(title="Mind", text=" ".join(_sentence(note) for note in mind)))
    settling = _grouped((_split_name(m), _settles(m)) for m in _own(case, film))
    if settling:
        blocks.append(Paragraph(text="What would settle the split classes:"))
        blocks.append(Listing(items=tuple(_sentence(item) for item in settling)))
    blocks += [Paragraph(text=text) for text in _left_out(case, film)]
    return Section(title=film.title, blocks=tuple(blocks))


def _figure(film: ReportedFilm, picture: ReportedPicture) -> FilmFigure:
    return FilmFigure(
        image=film.image,
        columns=film.columns,
        rows=film.rows,
        crop_px=picture.crop_px,
        text_width_share=picture.text_width_share,
        marks=picture.marks,
        caption=f"{film.title}, {picture.shows}. Read by {film.observer}.",
        alternative=f"{film.name}, {picture.shows}, with landmarks and lines of measurements "
        "whose values stand in the table",
    )


def _sentence(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def _own(case: ReportedCase, film: ReportedFilm) -> list[Measurement]:
    return [found for found in _measured(film.findings) if found.side in (case.side, None)]


def _grouped(pairs: Iterable[tuple[str, str]]) -> list[str]:
    """``name, name: text`` for every different text, in order of appearance."""
    names: dict[str, list[str]] = {}
    for name, text in pairs:
        if text:
            names.setdefault(text, []).append(name)
    return [f"{', '.join(dict.fromkeys(group))}: {text}" for text, group in names.items()]


def _split_name(found: Measurement) -> str:
    return found.abbreviation or found.name


def _settles(found: Measurement) -> str:
    classed = found.classification
    return classed.settles if classed is not None and classed.is_split else ""


def _left_out(case: ReportedCase, film: ReportedFilm) -> Iterator[str]:
    lacking = [
        found
        for found in film.findings
        if isinstance(found, NotMeasured) and found.side in (case.side, None)
    ]
    unplaced = [found.name for found in lacking if found.missing]
    refused = [f"{found.name} ({found.reason})" for found in lacking if not found.missing]
    if refused:
        yield f"Not measurable on this film: {'; '.join(refused)}."
    if unplaced:
        yield f"Not measured, since landmarks were not placed: {'; '.join(unplaced)}."


MIND_POSITION = "mind the position of the pelvis, below"

COLUMNS = (
    Column(heading="Measurement", share=3.2),
    Column(heading="Value", numeric=True, share=1.2),
    Column(heading="95 % interval", numeric=True, share=1.7),
    Column(heading="Among its classes", share=1.9),
    Column(heading="Class", share=2.4),
    Column(heading="Other side", numeric=True, share=1.3),
)


def _measurement_table(case: ReportedCase, film: ReportedFilm, catalog: Catalog) -> Table:
    other = {
        found.definition: found
        for found in _measured(film.findings)
        if found.side not in (case.side, None)
    }
    rows: list[tuple[Cell, ...]] = []
    for found in _own(case, film):
        entry = catalog.measurement(found.definition)
        counterpart = other.get(found.definition)
        rows.append(
            (
                Cell(text=found.name, quiet=MIND_POSITION if found.quality_warning else ""),
                Cell(text=value_with_unit(found)),
                Cell(text=interval_in_words(found)),
                Cell(bar=range_bar(found, entry)),
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


def _change_sentence(change: ReportedChange) -> str:
    where = f" ({change.pair})" if change.pair else ""
    return f"{change.name}{where}: {change.earlier} to {change.later}, {change.verdict}."


CHANGE_COLUMNS = (
    Column(heading="Earlier", numeric=True),
    Column(heading="Later", numeric=True),
    Column(heading="Change", numeric=True),
    Column(heading="Against the smallest detectable change", share=3),
)


def _changes(changes: Sequence[ReportedChange]) -> tuple[Table, ...]:
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


def _grades(grades: Sequence[ReportedGrade]) -> Table:
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


def _method(case: ReportedCase, read: Sequence[ReportedFilm], catalog: Catalog) -> Iterator[Block]:
    yield Paragraph(
        text="Each value comes from landmarks placed on the film. Its interval holds 95 % of what "
        "the same construction gives when every landmark is placed again with the spread of the "
        "reader (the reader's own where known, else the catalog's). Where the interval straddles "
        "a threshold, the share of each class is given. Classes are those of the named source; "
        "the mark in brackets tells how that source was seen by the makers of this program."
    )
    used = _references(case, read, catalog)
    if used:
        yield Listing(items=tuple(f"{r.text}{_findable(r)} [{r.seen.value}]" for r in used))
    yield Signature(label="Read and agreed by (name, date)")


def _findable(reference: Reference) -> str:
    kind = reference.identifier.partition(":")[0]
    return f" {reference.identifier}" if kind in {"doi", "pmid", "pmc"} else ""


def _references(
    case: ReportedCase, read: Sequence[ReportedFilm], catalog: Catalog
) -> list[Reference]:
    ids: dict[str, None] = {}
    for film in read:
        for found in _own(case, film):
            ids.update(dict.fromkeys(found.provenance.sources))
            if found.classification is not None:
                ids[found.classification.reference.id] = None
    return [catalog.reference(key) for key in ids]
