"""Addresses of one hip's page."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from hipwright.apps.web.authors import author_of
from hipwright.apps.web.case import change, editing, grades, measured, papers
from hipwright.apps.web.case.history import history_of
from hipwright.apps.web.case.naming import Named
from hipwright.apps.web.case.showing import head_facts
from hipwright.apps.web.films.reader import observer_of
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import web_state
from hipwright.apps.web.thumbnails import Thumbnails
from hipwright.domain.errors import IdentityError, NotFoundError
from hipwright.domain.keeping import Identity

router = APIRouter()
router.include_router(papers.router)
router.include_router(change.router)
router.include_router(grades.router)
router.include_router(editing.router)

LONGEST_LINE = 200


@router.get("/cases/{code}")
def show(request: Request, case: Named) -> Response:
    """The page; measurements follow by themselves."""
    return render(
        request,
        "case/case.html",
        here="Cases",
        grade_cards=grades.grade_cards(request, case),
        grade_fault="",
        reader=observer_of(request),
        **head_facts(request, case),
    )


@router.get("/cases/{code}/measurements")
def measurements(request: Request, case: Named) -> Response:
    """The table of the newest values."""
    from hipwright.workflows.reading_doubt import sex_of

    state = web_state(request)
    read = state.measured.of(state.opened.keeper, case)
    groups = measured.groups(read, case.side, sex=sex_of(state.opened.keeper, case))
    return render(
        request,
        "case/measurements.html",
        case=case,
        groups=groups,
        in_short=measured.in_short(groups),
        lacking=measured.lacking(read, case.side),
        any_read=any(shown.reading is not None for shown in read),
    )


@router.get("/cases/{code}/history")
def history(request: Request, case: Named) -> Response:
    """What was changed, by whom and when."""
    entries = history_of(web_state(request).opened.keeper, case)
    return render(
        request, "case/history.html", here="Cases", entries=entries, **head_facts(request, case)
    )


@router.post("/cases/{code}/summary")
def summary(
    request: Request,
    case: Named,
    words: Annotated[str, Form(max_length=LONGEST_LINE)] = "",
    version: Annotated[int, Form()] = 0,
) -> Response:
    """Say the case in a line."""
    keeper = web_state(request).opened.keeper
    changed = replace(case, summary=" ".join(words.split()))
    with keeper.transaction(by=author_of(request)):
        keeper.change_case(changed, expected_version=version)
    return RedirectResponse(f"/cases/{case.code}", HTTPStatus.SEE_OTHER)


@router.post("/cases/{code}/identity")
def identity(
    request: Request,
    case: Named,
    name: Annotated[str, Form(max_length=LONGEST_LINE)] = "",
    numbers: Annotated[str, Form(max_length=LONGEST_LINE)] = "",
    born: Annotated[str, Form()] = "",
    sex: Annotated[str, Form()] = "",
) -> Response:
    """Say whose hip it is."""
    state = web_state(request)
    birth_date = _day(born)
    told = Identity(
        person=case.person,
        name=" ".join(name.split()),
        numbers=tuple(dict.fromkeys(part for part in numbers.replace(",", " ").split() if part)),
        birth_date=birth_date,
        sex=sex or None,
    )
    identities = state.opened.identity
    kept = identities.of(case.person)
    identities.save(replace(told, note=kept.note) if kept else told)
    person = state.opened.keeper.person(case.person)
    shifted = person.birth_date_shifted
    if birth_date is not None:
        shifted = birth_date + timedelta(days=identities.date_shift_days(person.id))
    changed = replace(person, sex=sex or person.sex, birth_date_shifted=shifted)
    with state.opened.keeper.transaction(by=author_of(request)):
        state.opened.keeper.change_person(changed, expected_version=person.version)
    return RedirectResponse(f"/cases/{case.code}", HTTPStatus.SEE_OTHER)


@router.get("/images/{image}/thumbnail.png")
def small_picture(request: Request, image: str) -> Response:
    """A small picture of an image; of a series, of its middle slice."""
    state = web_state(request)
    kept = state.opened.keeper.image(image)
    if not kept.files:
        raise NotFoundError("cannot show the picture", found="an image without a file")
    digest = kept.files[len(kept.files) // 2]
    made = Thumbnails(state.folder / "thumbnails").get(
        digest, lambda: state.dock.picture(state.opened.keeper.get_file(digest))
    )
    return Response(made, media_type="image/png")


def _day(said: str) -> date | None:
    if not said:
        return None
    try:
        return date.fromisoformat(said)
    except ValueError:
        raise IdentityError(
            "cannot read the birth date",
            found="another form of date",
            needed="year-month-day, such as 1990-05-31",
            next_step="Correct it.",
            field="born",
        ) from None
