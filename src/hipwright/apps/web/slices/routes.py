"""Addresses of the Slices screen: the page, and how far its series is."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from hipwright.apps.web.films.reader import observer_of
from hipwright.apps.web.films.times import FilmTimes
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.showing.refusals import STATUS_OF, error_body
from hipwright.apps.web.slices.axes import axes_of
from hipwright.apps.web.slices.desk import build_of, case_of, desk_of, keeper_of, series_of
from hipwright.apps.web.slices.findings import findings_facts
from hipwright.apps.web.slices.making import making_facts
from hipwright.apps.web.slices.series_facts import block_facts, legend
from hipwright.apps.web.static_files import FOLDER
from hipwright.domain.errors import HipwrightError
from hipwright.domain.keeping import Image, ImageKind
from hipwright.workflows.ports import Keeper

router = APIRouter()

LIBRARY = frozenset(
    {
        "elements.js",
        "film-transform.js",
        "hours.js",
        "kept-pictures.js",
        "sending.js",
        "shaded-slice.js",
        "slice-geometry.js",
    }
)

MODULES = tuple(
    f"js/{path.relative_to(FOLDER / 'js').as_posix()}"
    for folder in ("lib", "components/slice-view", "slices")
    for path in sorted((FOLDER / "js" / folder).glob("*.js"))
    if folder != "lib" or path.name in LIBRARY
)
"""Scripts of the screen, so that the browser need not find them one by one."""


@dataclass(frozen=True, slots=True)
class Other:
    """Another series of the same person."""

    image: str
    name: str


@router.get("/slices/{image}")
async def show(request: Request, image: str, case: str | None = None) -> Response:
    """The screen of one series."""
    keeper = keeper_of(request)
    series = await asyncio.to_thread(series_of, keeper, image)
    desk_of(request).volumes.look(series)  # reading starts while the browser reads the page
    facts = await asyncio.to_thread(_page_facts, request, series, case)
    return render(request, "slices/slices.html", here="Slices", **facts)


def _page_facts(request: Request, series: Image, asked: str | None) -> dict[str, Any]:
    keeper = keeper_of(request)
    times = FilmTimes.seen_by(request, keeper, series)
    case = case_of(keeper, series, asked)
    others = [Other(i.id, series_name(i, times.of(i))) for i in _series(keeper, series)]
    return {
        "series_name": series_name(series, times.of(series)),
        "others": others,
        "modules": MODULES,
        "is_mr": series.modality == "MR",
        "build": build_of(keeper, series),
        "finding_fault": "",
        "finding_kept": "",
        "opened": "",
        "observer": observer_of(request),
        "facts": {
            "image": series.id,
            "case": None if case is None else case.code,
            "side": None if case is None else case.side.value,
            "modality": series.modality,
            "observer": observer_of(request),
            "axes": axes_of(keeper, series, case),
            "legend": legend(),
            "hasLabels": build_of(keeper, series) is not None,
        },
        **findings_facts(request, series, case),
        **making_facts(request, series, asked),
    }


def series_name(series: Image, time: str) -> str:
    """``CT, 14 Mar 2024``."""
    parts = (f"{series.modality} series", series.phase, time)
    return ", ".join(part for part in parts if part)


def _series(keeper: Keeper, series: Image) -> list[Image]:
    images = keeper.images_of(series.person)
    return [i for i in images if i.kind is ImageKind.SERIES and i.files and i.id != series.id]


@router.get("/slices/{image}/axes")
async def axes(request: Request, image: str, case: str | None = None) -> Response:
    """The axes that are known by now, as after bone models have been made."""
    return JSONResponse(await asyncio.to_thread(_axes, request, image, case))


def _axes(request: Request, image: str, asked: str | None) -> list[dict[str, Any]]:
    keeper = keeper_of(request)
    series = series_of(keeper, image)
    return axes_of(keeper, series, case_of(keeper, series, asked))


@router.get("/slices/{image}/volume")
async def volume(request: Request, image: str, *, again: bool = False) -> Response:
    """How far the series is; once it is open, how its views lie."""
    keeper = keeper_of(request)
    series = await asyncio.to_thread(series_of, keeper, image)
    opening = desk_of(request).volumes.look(series, again=again)
    await asyncio.to_thread(opening.over.wait, 0.4)
    if not opening.over.is_set():
        body = {"message": opening.message, "done": opening.done, "total": opening.total}
        return JSONResponse(body, HTTPStatus.ACCEPTED)
    if isinstance(opening.error, HipwrightError):
        error = opening.error
        status = STATUS_OF.get(error.code, HTTPStatus.UNPROCESSABLE_ENTITY)
        return JSONResponse(error_body(error.code, str(error), help_text=error.next_step), status)
    if opening.error is not None:
        raise opening.error
    blocks = opening.blocks or ()
    facts = await asyncio.to_thread(lambda: [block_facts(b, k) for k, b in enumerate(blocks)])
    return JSONResponse({"blocks": facts})
