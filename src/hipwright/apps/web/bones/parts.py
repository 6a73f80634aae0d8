"""Addresses of parts of the page that need measuring: numbers, clock faces, tilt, the scene."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import JSONResponse

from hipwright.apps.web.bones.clock import clock_parts
from hipwright.apps.web.bones.constructions import construction_facts
from hipwright.apps.web.bones.desk import OpenedBones, bones_of
from hipwright.apps.web.bones.landmarks import landmark_facts
from hipwright.apps.web.bones.measuring import measured_of, side_of
from hipwright.apps.web.bones.painting import MAPS, legend_of
from hipwright.apps.web.bones.remarks import remarks_together
from hipwright.apps.web.bones.table import numbers_table
from hipwright.apps.web.bones.tilt import changes_with_tilt, tilt_words
from hipwright.apps.web.films.reader import observer_of
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import web_state
from hipwright.catalog import load
from hipwright.domain.side import Side

router = APIRouter()

Json = dict[str, Any]


@router.get("/bones/{code}/numbers")
def numbers(request: Request, opened: OpenedBones) -> Response:
    """The table of both hips."""
    measured = measured_of(request, opened)
    sex = web_state(request).opened.keeper.person(opened.case.person).sex
    return render(
        request,
        "bones/numbers.html",
        case=opened.case,
        table=numbers_table(measured, opened.case.side, load(), sex=sex),
        remarks=remarks_together(measured.remarks),
    )


@router.get("/bones/{code}/clock")
def clock(request: Request, opened: OpenedBones, shown: Annotated[str, Query()] = "") -> Response:
    """The clock face of one series, of both hips on top of each other, and its table."""
    measured = measured_of(request, opened)
    sex = web_state(request).opened.keeper.person(opened.case.person).sex
    return render(
        request,
        "bones/clock.html",
        case=opened.case,
        query=opened.query,
        **clock_parts(measured, opened.case.side, load(), shown=shown, sex=sex),
    )


@router.get("/bones/{code}/tilt")
def tilt(request: Request, opened: OpenedBones) -> Response:
    """What becomes of the values at the pelvis's own tilt."""
    measured = measured_of(request, opened)
    return render(
        request,
        "bones/tilt.html",
        case=opened.case,
        build=opened.build,
        reading=opened.reading,
        own_version=opened.own_version(observer_of(request)),
        observer=observer_of(request),
        given=tilt_words(opened.reading),
        changes=changes_with_tilt(side_of(measured, opened.case.side)),
    )


@router.get("/bones/{code}/scene")
def scene(request: Request, opened: OpenedBones) -> Response:
    """Landmarks, and the maps that can be painted, for the drawing in space."""
    measured = measured_of(request, opened)
    maps: list[Json] = []
    for words in MAPS:
        shown = measured.map(words.id)
        legend = None if shown is None else legend_of(shown, words)
        if shown is None or legend is None:
            continue
        base = f"/bones/{opened.case.code}/map/{words.id}"
        legend["addresses"] = {piece: f"{base}/{piece}?{opened.query}" for piece in shown.values}
        maps.append(legend)
    return JSONResponse(
        {
            "version": opened.version,
            "heads": {
                side.value: [round(float(x), 3) for x in hip.border.origin_mm]
                for side, hip in measured.sides.items()
                if hip.border is not None
            },
            "maps": maps,
            "landmarks": landmark_facts(measured.landmarks, load()),
        }
    )


@router.get("/bones/{code}/construction")
def construction(
    request: Request,
    opened: OpenedBones,
    definition: Annotated[str, Query()],
    side: Annotated[str, Query()],
    hour: Annotated[float | None, Query()] = None,
) -> Response:
    """How a value was constructed, as points and lines in ``patient_lps``."""
    measured = measured_of(request, opened)
    shown = side_of(measured, Side.parse(side))
    drawing = bones_of(request).drawing(shown, definition, hour)
    return JSONResponse(construction_facts(shown, drawing, definition, hour))
