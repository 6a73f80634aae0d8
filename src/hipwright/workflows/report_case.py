"""Gather the facts of a case and print its report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog, load
from hipwright.catalog.entries import MeasurementDefinition
from hipwright.catalog.headlines import headlines
from hipwright.domain.film_marks import Mark
from hipwright.domain.keeping import Case, GradedReading, Identity, Image, Person, Reading
from hipwright.domain.landmarks import PlacedPoint
from hipwright.domain.report import Document, FigureRow, FilmFigure
from hipwright.domain.side import Side
from hipwright.domain.study import VIEW_NAMES
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.measure import ReadFilm, read_film
from hipwright.engines.reporting.case_report import (
    ReportedCase,
    ReportedFilm,
    ReportedGrade,
    ReportedPicture,
    case_report,
    letter_text,
)
from hipwright.engines.reporting.film_marks import marks_for
from hipwright.engines.reporting.label_room import with_room
from hipwright.workflows.measure_hip import ReadImage, measure_case
from hipwright.workflows.ports import Dock, FilmPrinter, IdentityKeeper, Keeper

Floats = NDArray[np.float64]

MOST_DRAWN = 4
"""Measurements drawn on one printed film: more would hide it."""

FAR_FROM_JOINT = frozenset(
    {"femoral_shaft_proximal", "femoral_shaft_distal", "obturator_foramen_medial"}
)
"""Landmarks that a close-up of the joint may leave out."""

LETTER_SHARE = 0.026
"""Size of a label over the width of the page's text, as the documents print it."""

PAIRED_SHARE, LONE_SHARE = 0.48, 0.62
"""How much of the page's text width a picture fills beside another, and alone."""

LONE_HIP_MARGIN = 0.4
"""The same on a view of one hip, where the neighborhood tells which way is up."""

SMALLEST_PART = 0.15
"""Least width and height of a printed part, as a share of the film: one landmark has none."""

CROP_MARGIN = 0.12
"""Room around the landmarks on a printed film, as a share of their extent."""

DAYS_IN_YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Sources:
    """What the report reads from: the workspace, and for the care record who it is."""

    keeper: Keeper
    dock: Dock
    printer: FilmPrinter
    identity: IdentityKeeper | None = None


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
        _reported_film(image, case, dates, catalog, software)
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
        grades=tuple(_grade(grade, catalog) for grade in sources.keeper.grades_of(case.id)),
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
    shown: ReadImage, case: Case, dates: _Dates, catalog: Catalog, software: str
) -> ReportedFilm:
    image, reading = shown.image, shown.reading
    assert reading is not None  # noqa: S101 - the caller leaves unread films out
    film = image.film()
    read = read_film(film, reading.landmarks, catalog=catalog, software=software)
    return ReportedFilm(
        image=image.id,
        name=", ".join(part for part in (VIEW_NAMES[image.view], image.phase) if part),
        when=dates.of(image.acquired_on),
        observer=observer_name(reading.landmarks.observer),
        columns=image.columns,
        rows=image.rows,
        pictures=tuple(_shown_parts(image, case, read)),
        findings=shown.findings,
        facts=_film_facts(image, reading, read),
        warnings=image.warnings,
    )


def observer_name(observer: str) -> str:
    """``human:ab`` as shown to people: ``AB``; algorithms keep their full name."""
    kind, _, code = observer.partition(":")
    return code.upper() if kind == "human" else observer


def _shown_parts(image: Image, case: Case, read: ReadFilm) -> Iterator[ReportedPicture]:
    """The whole of a film that shows both hips, then the hip itself with what is drawn."""
    film = read.film
    border = FilmBorder(film=film, side=case.side)
    if film.view.shows_both_hips:
        yield _part(image, (), _extent(read, None), "overview")
    drawn = [key for key in headlines() if film.view in read.catalog.measurement(key).views]
    marks: dict[Mark, None] = {}
    for key in drawn[:MOST_DRAWN]:
        marks.update(dict.fromkeys(marks_for(key, read, border)))
    yield _part(image, tuple(marks), _extent(read, case.side), f"{case.side} hip")


def _part(image: Image, marks: tuple[Mark, ...], extent: Floats, shows: str) -> ReportedPicture:
    low, high = extent
    lacking = np.maximum(SMALLEST_PART * min(image.columns, image.rows) - (high - low), 0) / 2
    low, high = low - lacking, high + lacking
    paired = image.view.shows_both_hips
    margin = CROP_MARGIN if paired else LONE_HIP_MARGIN
    pad = margin * float((high - low).max())
    left, top = np.maximum(low - pad, -0.5)
    right, bottom = np.minimum(high + pad, [image.columns - 0.5, image.rows - 0.5])
    share = PAIRED_SHARE if paired else LONE_SHARE
    letter = LETTER_SHARE * float(right - left) / share
    return ReportedPicture(
        crop_px=(float(left), float(top), float(right - left), float(bottom - top)),
        text_width_share=share,
        marks=with_room(marks, letter_px=letter, right_px=float(right)),
        shows=shows,
    )


def _extent(read: ReadFilm, side: Side | None) -> Floats:
    """Corners of what was placed, of one side's hip joint or of everything, (2, 2) in pixels.

    Where nothing was placed, those of the whole film.
    """
    placed = [
        np.array([[item.x_px, item.y_px]]) if isinstance(item, PlacedPoint) else item.xy_px
        for item in read.landmarks
        if side is None or (item.side is side and item.id not in FAR_FROM_JOINT)
    ]
    if not placed:
        return np.array([[-0.5, -0.5], [read.film.columns - 0.5, read.film.rows - 0.5]])
    xy = np.concatenate(placed)
    return np.stack([xy.min(axis=0), xy.max(axis=0)])


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
