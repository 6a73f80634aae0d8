"""Gather the facts of a case and print its report."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog, load
from hipwright.catalog.entries import MeasurementDefinition
from hipwright.catalog.headlines import headlines
from hipwright.domain.keeping import Case, GradedReading, Identity, Image, Person, Reading
from hipwright.domain.report import Document, FigureRow, FilmFigure
from hipwright.domain.study import VIEW_NAMES
from hipwright.engines.measurement.measure import ReadFilm, read_film
from hipwright.engines.outcomes.change import FROM_INTERVALS, OWN
from hipwright.engines.reporting.bone_report import ReportedBones
from hipwright.engines.reporting.case_report import case_report, letter_text
from hipwright.engines.reporting.numbers import value_with_unit, written
from hipwright.engines.reporting.reported_case import (
    ReportedCase,
    ReportedChange,
    ReportedFilm,
    ReportedGrade,
)
from hipwright.workflows.compare_films import Compared, comparable_pairs, compare_films
from hipwright.workflows.film_parts import shown_parts
from hipwright.workflows.measure_hip import ReadImage, measure_case
from hipwright.workflows.ports import Dock, FilmPrinter, IdentityKeeper, Keeper
from hipwright.workflows.reading_doubt import circumstances_of

Floats = NDArray[np.float64]

DAYS_IN_YEAR = 365.25

CHANGE_SOURCES = {
    OWN.id: "from this practice's repeat readings",
    FROM_INTERVALS.id: "from the two intervals [derived]",
}
"""Where a smallest detectable change comes from, when it is not a published default."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """What the report reads from: the workspace, and for the care record who it is.

    ``bones`` gives what the bone models of a hip measure, ``None`` where it has none.
    """

    keeper: Keeper
    dock: Dock
    printer: FilmPrinter
    identity: IdentityKeeper | None = None
    bones: Callable[[Case], ReportedBones | None] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CaseReport:
    """A report ready to be printed, and the same in sentences."""

    document: Document
    pictures: tuple[bytes, ...]
    letter: str


def report_case(
    sources: Sources,
    case: Case,
    *,
    made_on: date,
    software: str,
    caution: str,
    observer: str | None = None,
) -> CaseReport:
    """Build the report of one hip.

    Parameters
    ----------
    sources
        With an identity keeper the report is for the care record: it bears the name
        and true dates. Without one it bears the case code and ages.
    case
        The hip.
    made_on
        Today.
    software, caution
        What every page says.
    observer
        Whose readings count; by default the newest of each film.
    """
    catalog = load()
    person = sources.keeper.person(case.person)
    read = measure_case(
        sources.keeper, case, observer=observer, both_sides=True, software=software
    )
    dates = _Dates(person=person, identity=sources.identity)
    films = tuple(
        _reported_film(sources.keeper, image, case, dates, software)
        for image in read
        if image.reading is not None
    )
    facts = ReportedCase(
        code=case.code,
        side=case.side,
        side_name=case.side.value,
        person=_who(person, sources.identity),
        invented=case.invented or person.invented,
        made_on=made_on.isoformat(),
        software=software,
        caution=caution,
        films=films,
        changes=tuple(_changes(read, case, dates)),
        grades=tuple(_grade(grade, catalog) for grade in sources.keeper.grades_of(case.id)),
        bones=None if sources.bones is None else sources.bones(case),
    )
    document = case_report(facts, catalog)
    return CaseReport(
        document=document,
        pictures=_pictures(sources, document),
        letter=letter_text(facts, catalog),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Dates:
    """Says when a film was taken: the true date for care, the age for everybody else."""

    person: Person
    identity: IdentityKeeper | None

    def of(self, shifted: date | None) -> str:
        if shifted is None:
            return ""
        if self.identity is not None:
            return self.identity.true_date(self.person.id, shifted).isoformat()
        born = self.person.birth_date_shifted
        return "" if born is None else f"at {(shifted - born).days / DAYS_IN_YEAR:.1f} years"


def _who(person: Person, identity: IdentityKeeper | None) -> tuple[tuple[str, str], ...]:
    known: Identity | None = None if identity is None else identity.of(person.id)
    rows: list[tuple[str, str]] = []
    if known is not None:
        rows += [("Name", known.name), ("Number", ", ".join(known.numbers))]
        if known.birth_date is not None:
            rows.append(("Born", known.birth_date.isoformat()))
    if person.sex:
        rows.append(("Sex", {"F": "female", "M": "male"}.get(person.sex, person.sex)))
    return tuple(row for row in rows if row[1])


def _reported_film(
    keeper: Keeper, shown: ReadImage, case: Case, dates: _Dates, software: str
) -> ReportedFilm:
    image, reading = shown.image, shown.reading
    assert reading is not None  # noqa: S101 (the caller leaves unread films out)
    film = image.film()
    given = circumstances_of(keeper, image, reading.landmarks.observer)
    read = read_film(
        film,
        reading.landmarks,
        catalog=load(),
        doubt=given.doubt,
        sex=given.sex,
        software=software,
    )
    return ReportedFilm(
        image=image.id,
        name=_film_name(image),
        when=dates.of(image.acquired_on),
        observer=observer_name(reading.landmarks.observer),
        columns=image.columns,
        rows=image.rows,
        pictures=tuple(shown_parts(image, case, read)),
        findings=shown.findings,
        facts=_film_facts(image, reading, read),
        warnings=image.warnings,
        sex=given.sex,
    )


def _film_name(image: Image) -> str:
    return ", ".join(part for part in (VIEW_NAMES[image.view], image.phase) if part)


def _changes(read: Sequence[ReadImage], case: Case, dates: _Dates) -> Iterator[ReportedChange]:
    """What differs between every two films of one view, newest pair first.

    The main findings, and whatever else is beyond what repeat readings differ by.
    """

    def occasion(shown: ReadImage) -> str:
        return shown.image.phase or dates.of(shown.image.acquired_on)

    for earlier, later in comparable_pairs(read):
        pair = f"{VIEW_NAMES[later.image.view]}, {occasion(earlier)} and {occasion(later)}"
        for compared in compare_films(earlier, later, case.side):
            is_main = compared.later.definition in headlines()
            if is_main or compared.change.is_beyond_doubt:
                yield _reported_change(compared, pair, is_main=is_main)


def _reported_change(compared: Compared, pair: str, *, is_main: bool) -> ReportedChange:
    change, later = compared.change, compared.later
    unit = later.unit.label
    limit = written(change.smallest_detectable_change, later.reported_to) + unit
    relation = "more than" if change.is_beyond_doubt else "within"
    return ReportedChange(
        name=later.name,
        pair=pair,
        earlier=value_with_unit(compared.earlier),
        later=value_with_unit(later),
        change=written(change.difference, later.reported_to) + unit,
        verdict=f"{relation} {limit}",
        source=CHANGE_SOURCES.get(change.source.id, f"default [{change.source.seen.value}]"),
        is_main=is_main,
    )


def observer_name(observer: str) -> str:
    """``human:ab`` as shown to people: ``AB``; algorithms keep their full name."""
    kind, _, code = observer.partition(":")
    return code.upper() if kind == "human" else observer


def _film_facts(image: Image, reading: Reading, read: ReadFilm) -> tuple[tuple[str, str], ...]:
    scale = image.calibration
    size = f"{scale.column_mm:.4g} mm per pixel in the plane of the hip, "
    rows = [
        ("Position", image.posture.value),
        ("Scale", (size if scale.is_calibrated else "") + scale.source.value),
        ("Leveled by", read.leveling.in_words() if image.view.shows_both_hips else ""),
        ("Reading", f"number {reading.landmarks.reading}, version {reading.version}"),
    ]
    return tuple(row for row in rows if row[1])


def _grade(grade: GradedReading, catalog: Catalog) -> ReportedGrade:
    entry = catalog.measurement(grade.definition)
    meaning = next((g.text for g in entry.grades if g.value == grade.value), "")
    details = ", ".join(_detail(entry, key, value) for key, value in grade.details.items())
    sources = [catalog.reference(key) for key in entry.defined_by]
    return ReportedGrade(
        name=entry.name,
        value=grade.value,
        definition=" ".join(part for part in (meaning, details and f"{details}.") if part),
        observer=observer_name(grade.observer),
        source=", ".join(f"{s.text.split('.')[0]} [{s.seen.value}]" for s in sources),
    )


def _detail(entry: MeasurementDefinition, key: str, value: str | float) -> str:
    known = next((detail for detail in entry.details if detail.id == key), None)
    name = key if known is None else known.name
    unit = "" if known is None else known.unit
    return f"{name}: {value} {unit}".strip()


def _pictures(sources: Sources, document: Document) -> tuple[bytes, ...]:
    figures = [
        figure
        for section in document.sections
        for block in section.blocks
        if isinstance(block, FigureRow)
        for figure in block.figures
    ]
    return tuple(_picture(sources, figure) for figure in figures)


def _picture(sources: Sources, figure: FilmFigure) -> bytes:
    image = sources.keeper.image(figure.image)
    picture = sources.dock.picture(sources.keeper.get_file(image.files[0]))
    return sources.printer.film_png(picture, figure.crop_px)
