"""Addresses that edit labels: each edit at once, kept as versions, never over another's."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from http import HTTPStatus
from typing import Any

import numpy as np
from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from hipwright.apps.web.authors import author_of
from hipwright.apps.web.showing.words import moment
from hipwright.apps.web.slices.cutting import view_of
from hipwright.apps.web.slices.desk import (
    blank_labels,
    block_of,
    keeper_of,
    kept_edits,
    labels_of,
    opened_edits,
    series_of,
    working_edits,
)
from hipwright.apps.web.slices.messages import (
    CutDrawn,
    Edit,
    Keep,
    MarkRemoved,
    Painted,
    SeedSet,
    Settle,
    Step,
)
from hipwright.apps.web.slices.volume_shelf import Block
from hipwright.apps.web.slices.working_edits import WorkingEdits
from hipwright.apps.web.state import web_state
from hipwright.domain.errors import StaleWriteError, VolumeError
from hipwright.domain.keeping import Image
from hipwright.domain.keeping_bones import KeptEdits
from hipwright.domain.volume import Cut, LabelEdits, Seed
from hipwright.engines.imaging.painting import (
    ball_voxels,
    disc_voxels,
    joined,
    outline_voxels,
    painted,
    region_voxels,
    shown_codes,
)
from hipwright.wiring import bone_files
from hipwright.workflows.edit_labels import save_edits

router = APIRouter()

SHORTEST_CUT_MM = 2.0


@router.get("/slices/{image}/edits/{block}")
async def look(request: Request, image: str, block: int, desk: str) -> Response:
    """How a page's edits stand."""
    return JSONResponse(await asyncio.to_thread(_look, request, image, block, desk))


def _look(request: Request, image: str, block: int, desk: str) -> dict[str, Any]:
    series, shown = _opened(request, image, block)
    return told(working_edits(request, series, shown, desk))


@router.post("/slices/{image}/edits/{block}")
async def edit(request: Request, image: str, block: int, asked: Edit) -> Response:
    """Make one edit; the answer tells how the edits stand."""
    return JSONResponse(await asyncio.to_thread(_edit, request, image, block, asked))


def _edit(request: Request, image: str, block: int, asked: Edit) -> dict[str, Any]:
    series, shown = _opened(request, image, block)
    working = working_edits(request, series, shown, asked.desk)
    match asked.edit:
        case Step(how="undo"):
            working.undo()
        case Step():
            working.redo()
        case Painted() as stroke:
            voxels = _voxels(request, series, shown, working.now, stroke)
            working.push(painted(working.now, voxels, stroke.code))
        case CutDrawn() as drawn:
            working.push(replace(working.now, cuts=(*working.now.cuts, _cut(shown, drawn))))
        case SeedSet(at=at, code=code):
            seed = Seed(at_mm=at, code=code)
            working.push(replace(working.now, seeds=(*working.now.seeds, seed)))
        case MarkRemoved() as gone:
            working.push(_without(working.now, gone))
    return told(working)


def _voxels(
    request: Request, series: Image, shown: Block, edits: LabelEdits, stroke: Painted
) -> np.ndarray[Any, np.dtype[np.int64]]:
    grid, view = shown.volume.grid, view_of(shown, stroke.direction)
    path = np.array(stroke.path)
    if stroke.how == "ball":
        return ball_voxels(grid, path, stroke.radius)
    if stroke.how == "disc":
        return disc_voxels(grid, path, stroke.radius, view)
    if stroke.how == "outline":
        return outline_voxels(grid, path, view)
    labels = labels_of(request, series, shown) or blank_labels(shown)
    index = min(stroke.index, view.count - 1)
    return region_voxels(shown_codes(labels, edits, view, index), grid, view, index, path[-1])


def _cut(shown: Block, drawn: CutDrawn) -> Cut:
    view = view_of(shown, drawn.direction)
    start, end = (np.array(place) for place in drawn.path)
    length = float(np.linalg.norm(end - start))
    if length < SHORTEST_CUT_MM:
        raise VolumeError(
            "cannot cut here",
            found=f"a line of {length:.1f} mm",
            needed=f"a line of at least {SHORTEST_CUT_MM:g} mm across the place where bones touch",
            next_step="Draw the line from one side of the joint to the other.",
        )
    depth = np.cross(view.first.right_mm, view.first.down_mm)
    normal = np.cross(end - start, depth)
    normal = normal / np.linalg.norm(normal)
    middle = (start + end) / 2
    return Cut(center_mm=_triple(middle), normal=_triple(normal), radius_mm=length / 2)


def _triple(place: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in place)
    return x, y, z


def _without(edits: LabelEdits, gone: MarkRemoved) -> LabelEdits:
    def left(marks: tuple[Any, ...]) -> tuple[Any, ...]:
        return (*marks[: gone.number], *marks[gone.number + 1 :])

    if gone.kind == "cut":
        return replace(edits, cuts=left(edits.cuts))
    return replace(edits, seeds=left(edits.seeds))


@router.post("/slices/{image}/edits/{block}/keep")
async def keep(request: Request, image: str, block: int, asked: Keep) -> Response:
    """Keep a page's edits as a further version; a stale one is told what is kept instead."""
    return await asyncio.to_thread(_keep, request, image, block, asked)


def _keep(request: Request, image: str, block: int, asked: Keep) -> Response:
    series, shown = _opened(request, image, block)
    working = working_edits(request, series, shown, asked.desk)
    try:
        _save(request, series, working, asked.expected_version)
    except StaleWriteError as error:
        body = {"error": {"code": error.code, "message": str(error)}, **told(working)}
        kept = keeper_of(request).label_edits_of(series.id)
        if kept is not None:
            theirs = opened_edits(keeper_of(request), kept)
            body |= {"theirs": version_facts(kept, theirs), "mine": counts(working.now)}
        return JSONResponse(body, HTTPStatus.CONFLICT)
    return JSONResponse(told(working))


def _save(request: Request, series: Image, working: WorkingEdits, expected: int) -> None:
    state = working.now
    kept = save_edits(
        keeper_of(request),
        bone_files(),
        series.id,
        state,
        by=author_of(request),
        expected_version=expected,
        clock=web_state(request).clock,
    )
    working.is_kept_as(state, kept.version)


@router.post("/slices/{image}/edits/{block}/settle")
async def settle(request: Request, image: str, block: int, asked: Settle) -> Response:
    """Settle two versions; whatever is chosen, the other one stays among the versions."""
    return JSONResponse(await asyncio.to_thread(_settle, request, image, block, asked))


def _settle(request: Request, image: str, block: int, asked: Settle) -> dict[str, Any]:
    series, shown = _opened(request, image, block)
    working = working_edits(request, series, shown, asked.desk)
    theirs, version = kept_edits(keeper_of(request), series, shown)
    if asked.choice == "theirs":
        # Mine becomes a version of its own first, so that nothing is lost.
        _save(request, series, working, version)
        working.push(theirs)
        _save(request, series, working, working.version)
    else:
        if asked.choice == "both":
            working.push(joined(working.now, theirs))
        _save(request, series, working, version)
    return told(working)


def _opened(request: Request, image: str, block: int) -> tuple[Image, Block]:
    return series_of(keeper_of(request), image), block_of(request, image, block)


def counts(edits: LabelEdits) -> dict[str, int]:
    """How much was edited."""
    return {"voxels": len(edits.voxels), "cuts": len(edits.cuts), "seeds": len(edits.seeds)}


def version_facts(kept: KeptEdits, edits: LabelEdits) -> dict[str, Any]:
    """A kept version: who, when, how much."""
    return {
        "version": kept.version,
        "by": kept.by.removeprefix("human:"),
        "savedAt": moment(kept.saved_at),
        **counts(edits),
    }


def told(working: WorkingEdits) -> dict[str, Any]:
    """How a page's edits stand, as the browser is told."""
    now = working.now
    return {
        "state": working.number,
        "version": working.version,
        "dirty": working.is_dirty,
        "canUndo": working.can_undo,
        "canRedo": working.can_redo,
        **counts(now),
        "cutList": [
            {"center": c.center_mm, "normal": c.normal, "radius": c.radius_mm} for c in now.cuts
        ],
        "seedList": [{"at": s.at_mm, "code": s.code} for s in now.seeds],
    }
