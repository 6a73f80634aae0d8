"""Findings on slices: graded readings with the hours they take up on the clock face."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Literal

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from starlette.concurrency import run_in_threadpool

from hipwright.apps.web.case.grades import answered_grade, observer_named, refused_grade
from hipwright.apps.web.films.reader import observer_of, remember_reader
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.slices.desk import SlicesKeeper, case_of, keeper_of, series_of
from hipwright.apps.web.slices.messages import Message, Place
from hipwright.apps.web.state import web_state
from hipwright.catalog import load
from hipwright.catalog.entries import Detail, EntryKind, MeasurementDefinition
from hipwright.domain.errors import HipwrightError
from hipwright.domain.keeping import Case, GradedReading, Image
from hipwright.domain.study import View

router = APIRouter()

AXIS = "radial_axis"
ORDER = ("labr", "acetabular_cartilage", "cartilage", "paralabral", "acetabular")
"""The order in which a joint is read: labrum, cartilage, what lies around; by start of the id."""

FROM, TO = "clock_from", "clock_to"
HOURS = 12
HALF_HOURS = tuple(
    (f"{half / 2 or HOURS:g}", f"{half // 2 or HOURS}:{30 * (half % 2):02}")
    for half in range(2 * HOURS)
)
"""Values and words of the hours that can be chosen, 12:00 first."""


def hour_words(hour: float) -> str:
    """``12:30`` of 0.5: the hour as a clock shows it, to the minute."""
    minutes = round((hour % HOURS) * 60) % (HOURS * 60)
    return f"{minutes // 60 or HOURS}:{minutes % 60:02}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingCard:
    """One definition with what has been found by it on this series."""

    entry: MeasurementDefinition
    given: tuple[GradedReading, ...]
    sources: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def plain_details(self) -> tuple[Detail, ...]:
        """Details that are no hours."""
        return tuple(d for d in self.entry.details if not d.id.startswith((FROM, TO)))

    @property
    def spans(self) -> tuple[tuple[Detail, Detail], ...]:
        """Pairs of hours, from and to."""
        named = {d.id: d for d in self.entry.details}
        starts = [d for d in self.entry.details if d.id.startswith(FROM)]
        return tuple((d, named[d.id.replace(FROM, TO)]) for d in starts)

    def meaning(self, value: str) -> str:
        """What a value says."""
        return next((grade.text for grade in self.entry.grades if grade.value == value), "")

    def arcs(self, grade: GradedReading) -> list[tuple[float, float]]:
        """The hours a finding takes up."""
        found = grade.details
        pairs = ((found.get(a.id), found.get(b.id)) for a, b in self.spans)
        return [
            (a, b) for a, b in pairs if isinstance(a, (int, float)) and isinstance(b, (int, float))
        ]

    def details(self, grade: GradedReading) -> str:
        """Hours and details in words: ``12:30 to 2:00, diameter 4 mm``."""
        told = [f"{hour_words(a)} to {hour_words(b)}" for a, b in self.arcs(grade)]
        for detail in self.plain_details:
            value = grade.details.get(detail.id)
            if value is None:
                continue
            unit = "" if detail.unit in {"", "1"} else f" {detail.unit}"
            written = f"{value:g}" if isinstance(value, float) else value
            told.append(f"{detail.name[0].lower()}{detail.name[1:]} {written}{unit}")
        return ", ".join(told)


def finding_cards(keeper: SlicesKeeper, series: Image, case: Case | None) -> list[FindingCard]:
    """Every graded definition that such a series can show, and what was found."""
    catalog = load()
    view = View.MR if series.modality == "MR" else View.CT
    given = [] if case is None else [g for g in keeper.grades_of(case.id) if g.image == series.id]
    entries = [
        entry
        for entry in catalog.measurements.values()
        if entry.kind is EntryKind.GRADED and view in entry.views and entry.id != AXIS
    ]
    return [
        FindingCard(
            entry=entry,
            given=tuple(grade for grade in given if grade.definition == entry.id),
            sources=tuple(str(catalog.reference(key).citation()) for key in entry.defined_by),
            notes=(*(p.text for p in entry.population), *(p.text for p in entry.pitfalls)),
        )
        for entry in sorted(entries, key=lambda entry: _rank(entry.id))
    ]


def _rank(name: str) -> int:
    starts = (number for number, start in enumerate(ORDER) if name.startswith(start))
    return next(starts, len(ORDER))


def findings_facts(request: Request, series: Image, case: Case | None) -> dict[str, Any]:
    """What the findings' part of the page is made from."""
    cards = finding_cards(keeper_of(request), series, case)
    arcs = [
        {"from": a, "to": b, "name": card.entry.name, "value": grade.value}
        for card in cards
        for grade in card.given
        for a, b in card.arcs(grade)
    ]
    return {
        "series": series,
        "case": case,
        "finding_cards": cards,
        "found": [(card, grade) for card in cards for grade in card.given],
        "arcs": arcs,
        "half_hours": HALF_HOURS,
        "reader": observer_of(request),
    }


@router.post("/slices/{image}/findings")
async def save(request: Request, image: str) -> Response:
    """Keep a finding; an older one of the same reader stays in the history."""
    form = {key: str(value) for key, value in (await request.form()).items()}
    return await run_in_threadpool(_save, request, image, form)


def _save(request: Request, image: str, form: dict[str, str]) -> Response:
    keeper = keeper_of(request)
    series = series_of(keeper, image)
    case = case_of(keeper, series, form.get("case"))
    observer = observer_of(request)
    code = "" if observer else form.get("reader", "").strip()
    fault, status, kept = "", HTTPStatus.OK, ""
    try:
        if case is None:
            raise refused_grade("a series of no case", "a case of the same hip")
        grade = answered_grade(
            request, case, form | {"image": series.id}, observer or observer_named(code)
        )
        _check_spans(grade)
        with keeper.transaction(by=grade.observer):
            keeper.save_grade(grade)
        kept = load().measurement(grade.definition).name
    except HipwrightError as error:
        fault, status = str(error), HTTPStatus.UNPROCESSABLE_ENTITY
    if code and not fault:
        remember_reader(request, code)
    facts = findings_facts(request, series, case)
    opened = form.get("definition", "") if fault else ""
    return render(
        request,
        "slices/findings.html",
        status=status,
        finding_fault=fault,
        finding_kept=kept,
        opened=opened,
        **facts,
    )


def _check_spans(grade: GradedReading) -> None:
    """Hours come in pairs that differ: readers place findings no better than to an interval."""
    for key in [*grade.details]:
        if not key.startswith((FROM, TO)):
            continue
        other = key.replace(FROM, TO) if key.startswith(FROM) else key.replace(TO, FROM)
        if other not in grade.details:
            raise refused_grade("one hour", "both hours: where it begins and where it ends")
        if grade.details[key] == grade.details[other]:
            raise refused_grade(
                f"a point, {hour_words(float(grade.details[key]))}",
                "an interval of at least half an hour",
            )


class AxisPlaced(Message):
    """The axis that a reader clicked: head center and middle of the neck."""

    case: str
    head: Place
    neck: Place
    sure: Literal["clear", "unsure"] = "clear"


@router.post("/slices/{image}/axis")
async def keep_axis(request: Request, image: str, placed: AxisPlaced) -> Response:
    """Keep where the neck's axis runs, so that the same planes come back."""
    await asyncio.to_thread(_keep_axis, request, image, placed)
    return JSONResponse({"kept": True})


def _keep_axis(request: Request, image: str, placed: AxisPlaced) -> None:
    keeper = keeper_of(request)
    series = series_of(keeper, image)
    case = case_of(keeper, series, placed.case)
    observer = observer_of(request)
    if case is None or observer is None:
        raise refused_grade(
            "a series of no case" if case is None else "no reader's code",
            "a case and a reader's code",
        )
    grade = GradedReading(
        id=keeper.new_id(),
        case=case.id,
        image=series.id,
        definition=AXIS,
        value=placed.sure,
        details={"head": _written(placed.head), "neck": _written(placed.neck)},
        observer=observer,
        saved_at=web_state(request).clock.now(),
    )
    with keeper.transaction(by=observer):
        keeper.save_grade(grade)


def _written(place: Place) -> str:
    return " ".join(f"{x:.2f}" for x in place)


def kept_axis(keeper: SlicesKeeper, series: Image, case: Case | None) -> dict[str, Any] | None:
    """The axis that was placed on this series last, ``None`` where none was."""
    given = [] if case is None else keeper.grades_of(case.id)
    mine = [g for g in given if (g.image, g.definition) == (series.id, AXIS)]
    newest = max(mine, key=lambda grade: grade.saved_at, default=None)
    if newest is None or not {"head", "neck"} <= newest.details.keys():
        return None
    head, neck = ([float(x) for x in str(newest.details[key]).split()] for key in ("head", "neck"))
    return {
        "head": head,
        "neck": neck,
        "from": f"placed by {newest.observer.removeprefix('human:')}",
    }
