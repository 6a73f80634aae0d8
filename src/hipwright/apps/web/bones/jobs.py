"""Addresses of the work that makes bone models: begin, look how far it is, stop."""

from __future__ import annotations

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from hipwright.apps.web.bones.desk import bones_of
from hipwright.apps.web.bones.working import work_facts
from hipwright.apps.web.named_case import Named
from hipwright.apps.web.showing.pages import render
from hipwright.domain.errors import NotFoundError
from hipwright.domain.keeping import Case, Image
from hipwright.domain.keeping_bones import JobState

router = APIRouter()


def _series(request: Request, case: Case, image: str) -> Image:
    series = bones_of(request).series(case.person)
    found = next((one for one in series if one.id == image), None)
    if found is None:
        raise NotFoundError(
            "cannot make bone models",
            found="no such CT of this person",
            needed="one of this person's CT series",
            next_step="Open the Bones page again.",
            field="image",
        )
    return found


def _shown(request: Request, case: Case, image: Image) -> Response:
    at_hand = bones_of(request)
    facts = work_facts(at_hand, image)
    done = facts.job is not None and facts.job.state is JobState.DONE
    headers = {"HX-Redirect": f"/bones/{case.code}"} if done else {}
    return render(request, "bones/work.html", case=case, work=facts, headers=headers)


@router.post("/bones/{code}/making/{image}")
def start(request: Request, case: Named, image: str) -> Response:
    """Begin; one that is at work already goes on."""
    series = _series(request, case, image)
    at_hand = bones_of(request)
    before = at_hand.newest_job(series)
    if before is None or before.state.is_over:
        at_hand.start(series)
    if "HX-Request" not in request.headers:  # a plain form of another page
        return RedirectResponse(f"/bones/{case.code}", HTTPStatus.SEE_OTHER)
    return _shown(request, case, series)


@router.get("/bones/{code}/making/{image}")
def look(request: Request, case: Named, image: str) -> Response:
    """How far it is; once it is over, the answer takes the place of the whole part."""
    series = _series(request, case, image)
    shown = _shown(request, case, series)
    newest = bones_of(request).newest_job(series)
    if newest is None or newest.state.is_over:
        shown.headers["HX-Retarget"] = f"#work-{image}"
        shown.headers["HX-Reselect"] = f"#work-{image}"
    return shown


@router.post("/bones/{code}/making/{image}/stop")
def stop(request: Request, case: Named, image: str, job: Annotated[str, Form()]) -> Response:
    """Ask it to stop."""
    series = _series(request, case, image)
    at_hand = bones_of(request)
    newest = at_hand.newest_job(series)
    if newest is not None and newest.id == job and not newest.state.is_over:
        at_hand.cancel(job)
    return _shown(request, case, series)
