"""Addresses of the long work: making bone models, the reader's edits kept to."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response

from hipwright.apps.web.bones.working import WorkFacts
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.slices.desk import build_of, case_of, desk_of, keeper_of, series_of
from hipwright.domain.keeping import Image
from hipwright.domain.keeping_bones import JobState

router = APIRouter()


def making_facts(request: Request, series: Image, case: str | None = None) -> dict[str, Any]:
    """What the page says of the work on a series."""
    keeper = keeper_of(request)
    build = build_of(keeper, series)
    kept = keeper.label_edits_of(series.id)
    job = desk_of(request).work.newest(series.id)
    edited = kept is not None and (build is None or build.edits_file != kept.edits_file)
    return {
        "series": series,
        "case": case_of(keeper, series, case),
        "build": build,
        "edits": kept,
        "edited": edited,
        "work": WorkFacts(image=series, job=job, made_before=build is not None),
    }


def _shown(request: Request, series: Image, case: str | None, *, fresh: bool = False) -> Response:
    facts = making_facts(request, series, case)
    job = facts["work"].job
    headers: dict[str, str] = {}
    if fresh and job is not None and job.state is JobState.DONE:
        headers["HX-Trigger"] = "bones-made"
    return render(request, "slices/making.html", headers=headers, **facts)


Code = Annotated[str, Form(max_length=40)]


@router.post("/slices/{image}/making")
def start(request: Request, image: str, case: Code = "") -> Response:
    """Begin; one that is at work already goes on."""
    series = series_of(keeper_of(request), image)
    desk_of(request).work.start(series.id)
    return _shown(request, series, case)


@router.get("/slices/{image}/making")
def look(request: Request, image: str, case: str = "", *, idle: bool = False) -> Response:
    """How far it is; once it is over, the answer takes the place of the whole part.

    ``idle`` asks only whether there are newer edits than models.
    """
    series = series_of(keeper_of(request), image)
    shown = _shown(request, series, case, fresh=not idle)
    newest = desk_of(request).work.newest(series.id)
    if not idle and (newest is None or newest.state.is_over):
        # Into the section that always stands: another answer may just exchange the part itself.
        shown.headers["HX-Retarget"] = "#making"
        shown.headers["HX-Reswap"] = "innerHTML"
        shown.headers["HX-Reselect"] = "#making-part"
    return shown


@router.post("/slices/{image}/making/stop")
def stop(request: Request, image: str, case: Code = "") -> Response:
    """Ask it to stop."""
    series = series_of(keeper_of(request), image)
    work = desk_of(request).work
    newest = work.newest(series.id)
    if newest is not None and not newest.state.is_over:
        work.cancel(newest.id)
    return _shown(request, series, case)
