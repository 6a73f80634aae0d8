"""Graded readings: the reader chooses from the catalog's values, definitions beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from hipwright.apps.web.case.naming import Named
from hipwright.apps.web.films.reader import READER_CODE, observer_of, remember_reader
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import web_state
from hipwright.catalog import load
from hipwright.catalog.entries import EntryKind, MeasurementDefinition
from hipwright.domain.errors import HipwrightError, LandmarkError
from hipwright.domain.keeping import Case, GradedReading, Image, ImageKind
from hipwright.domain.study import View

router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeCard:
    """One definition with what has been graded by it, and the images it can be seen on."""

    entry: MeasurementDefinition
    given: tuple[GradedReading, ...]
    images: tuple[Image, ...]
    sources: tuple[str, ...]

    def meaning(self, value: str) -> str:
        """What a value says."""
        return next((grade.text for grade in self.entry.grades if grade.value == value), "")

    def details(self, grade: GradedReading) -> str:
        """The details in words: ``Thickness 4 mm``."""
        names = {detail.id: detail for detail in self.entry.details}
        told: list[str] = []
        for key, value in grade.details.items():
            detail = names.get(key)
            name = key if detail is None else detail.name
            unit = "" if detail is None or detail.unit in {"", "1"} else f" {detail.unit}"
            written = f"{value:g}" if isinstance(value, float) else value
            told.append(f"{name} {written}{unit}")
        return ", ".join(told)


def grade_cards(request: Request, case: Case) -> list[GradeCard]:
    """Every graded definition of the catalog that some image of the hip can show."""
    keeper = web_state(request).opened.keeper
    catalog = load()
    images = [i for i in keeper.images_of(case.person) if i.laterality.shows(case.side)]
    given = keeper.grades_of(case.id)
    cards: list[GradeCard] = []
    for entry in catalog.measurements.values():
        if entry.kind is not EntryKind.GRADED:
            continue
        fitting = tuple(image for image in images if _view(image) in entry.views)
        own = tuple(grade for grade in given if grade.definition == entry.id)
        if fitting or own:
            sources = tuple(str(catalog.reference(key).citation()) for key in entry.defined_by)
            cards.append(GradeCard(entry=entry, given=own, images=fitting, sources=sources))
    return cards


def _view(image: Image) -> View:
    if image.kind is ImageKind.SERIES:
        return View.MR if image.modality == "MR" else View.CT
    return image.view


@router.post("/cases/{code}/grades")
async def save(request: Request, case: Named) -> Response:
    """Keep a grade; an older one of the same reader stays in the history."""
    form = {key: str(value) for key, value in (await request.form()).items()}
    return await run_in_threadpool(_save, request, case, form)


def _save(request: Request, case: Case, form: dict[str, str]) -> Response:
    observer = observer_of(request)
    code = "" if observer else form.get("reader", "").strip()
    fault, status = "", HTTPStatus.OK
    try:
        observer = observer or observer_named(code)
        grade = answered_grade(request, case, form, observer)
        keeper = web_state(request).opened.keeper
        with keeper.transaction(by=grade.observer):
            keeper.save_grade(grade)
    except HipwrightError as error:
        fault, status = str(error), HTTPStatus.UNPROCESSABLE_ENTITY
    if code and not fault:
        remember_reader(request, code)
    return render(
        request,
        "case/grades.html",
        status=status,
        case=case,
        grade_cards=grade_cards(request, case),
        grade_fault=fault,
        reader=observer,
    )


def observer_named(code: str) -> str:
    """The observer of a reader's code; refused where it is none."""
    if not READER_CODE.fullmatch(code):
        raise refused_grade(
            "no reader's code", "1 to 12 letters, digits or hyphens, such as initials"
        )
    return f"human:{code}"


def answered_grade(
    request: Request, case: Case, form: dict[str, str], observer: str
) -> GradedReading:
    """The grade that a form gives; refused where the catalog does not know its value."""
    state = web_state(request)
    entry = load().measurement(form.get("definition", ""))
    values = [grade.value for grade in entry.grades]
    value = form.get("value", "")
    if entry.kind is not EntryKind.GRADED or value not in values:
        raise refused_grade("no value", f"one of {', '.join(values)}")
    return GradedReading(
        id=state.opened.keeper.new_id(),
        case=case.id,
        image=form.get("image") or None,
        definition=entry.id,
        value=value,
        details=_details(entry, form),
        observer=observer,
        saved_at=state.clock.now(),
    )


def _details(entry: MeasurementDefinition, form: dict[str, str]) -> dict[str, str | float]:
    told: dict[str, str | float] = {}
    for detail in entry.details:
        said = form.get(f"detail.{detail.id}", "").strip()
        if not said:
            continue
        told[detail.id] = said if detail.choices else _number(detail, said)
        if detail.choices and said not in detail.choices:
            raise refused_grade(f"{detail.name} {said!r}", ", ".join(detail.choices))
    return told


def _number(detail: Any, said: str) -> float:
    low = -math.inf if detail.low is None else detail.low
    high = math.inf if detail.high is None else detail.high
    try:
        number = float(said.replace(",", "."))
    except ValueError:
        number = math.nan
    if not low <= number <= high:
        raise refused_grade(f"{detail.name} {said!r}", f"a number from {low:g} to {high:g}")
    return number


def refused_grade(found: str, needed: str) -> LandmarkError:
    """Why a grade is not kept."""
    return LandmarkError(
        "cannot keep the grade",
        found=found,
        needed=needed,
        next_step="Correct it and save again.",
        field="value",
    )
