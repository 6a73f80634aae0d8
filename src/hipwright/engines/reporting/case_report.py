"""The report of one hip: films, numbers, classes, doubts, sources."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from hipwright.catalog import Catalog
from hipwright.catalog.entries import Reference
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.report import (
    Block,
    Document,
    Facts,
    FigureRow,
    FilmFigure,
    Listing,
    Notice,
    Paragraph,
    Section,
    Signature,
)
from hipwright.engines.reporting.bone_report import bone_section
from hipwright.engines.reporting.report_tables import (
    change_tables,
    grade_table,
    headline_table,
    measurement_table,
)
from hipwright.engines.reporting.reported_case import (
    ReportedCase,
    ReportedChange,
    ReportedFilm,
    ReportedPicture,
    measured,
    own,
)
from hipwright.engines.reporting.sentences import baselines, findings_sentence


def case_report(case: ReportedCase, catalog: Catalog) -> Document:
    """Build the report of one hip.

    Parameters
    ----------
    case
        The facts.
    catalog
        For names, ranges and sources.
    """
    read = [film for film in case.films if measured(film)]
    sections = [
        Section(title="Findings", blocks=tuple(_findings(case, read, catalog))),
        *(_film_section(case, film, catalog) for film in read),
    ]
    if case.bones is not None:
        sections.append(bone_section(case.bones, catalog))
    if case.changes:
        sections.append(Section(title="Change between films", blocks=change_tables(case.changes)))
    if case.grades:
        sections.append(Section(title="Graded readings", blocks=(grade_table(case.grades),)))
    sections.append(Section(title="How to read this", blocks=tuple(_method(case, read, catalog))))
    of_what = "film report" if case.bones is None else "films and bones"
    title = f"{case.side_name.capitalize()} hip: {of_what}"
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


def _findings(
    case: ReportedCase, read: Sequence[ReportedFilm], catalog: Catalog
) -> Iterator[Block]:
    yield Notice(title="Caution", text=case.caution)
    if not read and case.bones is None:
        yield Paragraph(text="No film of this hip has been read yet, so nothing is measured.")
    elif not read:
        yield Paragraph(text="No film of this hip has been read yet; all values are of the bones.")
    for film in read:
        table = headline_table(case, film, catalog)
        if table.rows:
            yield table
    for grade in case.grades:
        yield Paragraph(text=f"{grade.name}: {grade.value}, graded by {grade.observer}.")


def film_sentence(case: ReportedCase, film: ReportedFilm, catalog: Catalog) -> str:
    """One film's findings in words."""
    where = f"{film.title}, read by {film.observer}"
    return findings_sentence(where, case.side, film.findings, catalog)


def letter_text(case: ReportedCase, catalog: Catalog) -> str:
    """The findings as plain text for the clinic letter, with method, interval and caution."""
    head = f"{case.side_name.capitalize()} hip ({case.code})."
    films = [film_sentence(case, film, catalog) for film in case.films if measured(film)]
    grades = [f"{g.name}: {g.value} (graded by {g.observer})." for g in case.grades]
    changes = [_change_sentence(c) for c in case.changes if c.is_main]
    lines = films or ["No film has been read yet."]
    leveled = sorted({line for film in case.films for line in baselines(film.findings)})
    method = [f"Leveled by the {'; '.join(leveled)}."] if leveled else []
    return "\n".join([head, *lines, *changes, *grades, *method, case.caution])


def _film_section(case: ReportedCase, film: ReportedFilm, catalog: Catalog) -> Section:
    blocks: list[Block] = [
        FigureRow(figures=tuple(_figure(film, picture) for picture in film.pictures)),
        measurement_table(case, film, catalog),
        Facts(rows=film.facts),
    ]
    mind = [*film.warnings, *_grouped((m.name, m.quality_warning) for m in own(case, film))]
    mind += _grouped((m.name, note) for m in own(case, film) for note in m.notes)
    if mind:
        blocks.append(Notice(title="Mind", text=" ".join(_sentence(note) for note in mind)))
    settling = _grouped((_split_name(m), _settles(m)) for m in own(case, film))
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


def _change_sentence(change: ReportedChange) -> str:
    where = f" ({change.pair})" if change.pair else ""
    return f"{change.name}{where}: {change.earlier} to {change.later}, {change.verdict}."


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
    measured_here = [found for film in read for found in own(case, film)]
    measured_here += [] if case.bones is None else case.bones.measured
    for found in measured_here:
        ids.update(dict.fromkeys(found.provenance.sources))
        if found.classification is not None:
            ids[found.classification.reference.id] = None
    return [catalog.reference(key) for key in ids]
