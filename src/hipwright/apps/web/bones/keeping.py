"""Addresses that save: landmarks a reader moved, and the pelvis's own tilt."""

from __future__ import annotations

from dataclasses import replace
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from hipwright.apps.web.bones.desk import Opened, OpenedBones, bones_of, shelf_of
from hipwright.apps.web.bones.files import surface_of
from hipwright.apps.web.bones.landmarks import (
    movable_feature,
    moved_point,
    pieces_for,
    place_on_bone,
    place_on_ray,
)
from hipwright.apps.web.bones.at_hand import piece_of
from hipwright.apps.web.bones.tilt import MOST_TILT_DEG
from hipwright.apps.web.films.reader import observer_of, remember_reader, READER_CODE
from hipwright.apps.web.state import web_state
from hipwright.catalog import load
from hipwright.catalog.bone_features import BoneFeature
from hipwright.domain.anatomy import BoneLandmarks
from hipwright.domain.errors import LandmarkError, StaleWriteError
from hipwright.domain.keeping_bones import BoneReading
from hipwright.domain.side import Side
from hipwright.engines.geometry.mesh_tree import MeshTree, mesh_tree

router = APIRouter()

Json = dict[str, Any]
Coordinate = Annotated[float, Field(ge=-5000, le=5000)]
Triple = tuple[Coordinate, Coordinate, Coordinate]
LONGEST_LINE = 200


class Message(BaseModel):
    """What a browser sends; nothing unknown, nothing that is no number."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Pointed(Message):
    """A landmark that is being moved: the ray under the pointer, ``patient_lps``."""

    landmark: str
    side: Side | None
    origin: Triple
    direction: Triple


class Placed(Message):
    """A landmark where it was left; ``at`` is ``None`` to give it back to the program."""

    landmark: str
    side: Side | None
    at: Triple | None
    expected_version: Annotated[int, Field(ge=0)]
    reader: Annotated[str, Field(pattern=f"^({READER_CODE.pattern})?$")] = ""


def _trees(
    request: Request, opened: Opened, feature: BoneFeature, side: Side | None
) -> list[MeshTree]:
    def tree(piece: str) -> MeshTree:
        surface = surface_of(request, opened, piece)
        return mesh_tree(surface.vertices, surface.faces)

    shelf = shelf_of(request)
    return [
        shelf.get(("tree", bone.surface_file), lambda bone=bone: tree(piece_of(bone)))
        for bone in pieces_for(opened.build, feature, side)
    ]


@router.post("/bones/{code}/place")
def place(request: Request, opened: OpenedBones, pointed: Pointed) -> Response:
    """Where on the bone somebody points; nothing is kept."""
    feature = movable_feature(load(), pointed.landmark)
    trees = _trees(request, opened, feature, pointed.side)
    return JSONResponse({"at": place_on_ray(trees, pointed.origin, pointed.direction)})


@router.post("/bones/{code}/landmark")
def save_landmark(request: Request, opened: OpenedBones, placed: Placed) -> Response:
    """Keep a further version of the reading with this landmark moved, or given back."""
    if placed.reader:
        remember_reader(request, placed.reader)
    feature = movable_feature(load(), placed.landmark)
    reading = _own(request, opened)
    kept = [p for p in reading.moved if (p.id, p.side) != (placed.landmark, placed.side)]
    if placed.at is not None:
        trees = _trees(request, opened, feature, placed.side)
        at = place_on_bone(trees, placed.landmark, placed.at)
        kept.append(moved_point(feature, placed.side, at))
    changed = replace(reading, moved=BoneLandmarks(points=tuple(kept)))
    return _save(request, changed, placed.expected_version)


def _save(request: Request, reading: BoneReading, expected: int) -> Response:
    try:
        saved = bones_of(request).save(reading, expected_version=expected)
    except StaleWriteError as error:
        body: Json = {"error": {"code": error.code, "message": str(error)}}
        if isinstance(error.kept, BoneReading):
            body["kept"] = {"version": error.kept.version, "observer": error.kept.observer}
        return JSONResponse(body, HTTPStatus.CONFLICT)
    return JSONResponse({"version": saved.version, "observer": saved.observer})


def _own(request: Request, opened: Opened) -> BoneReading:
    """The session's own reading of the build to change; another reader's is gone on from.

    Raises
    ------
    LandmarkError
        Nobody has said who reads.
    """
    state = web_state(request)
    observer = observer_of(request)
    if observer is None:
        raise LandmarkError(
            "cannot keep the change",
            found="nobody's code",
            needed="a short code of who reads, such as initials",
            next_step="Give it beside the landmarks.",
            field="reader",
        )
    now = state.clock.now()
    before = opened.reading
    if before is not None and before.observer == observer:
        return replace(before, saved_at=now)
    moved = BoneLandmarks() if before is None else before.moved
    return BoneReading(
        id=state.opened.keeper.new_id(),
        build=opened.build.id,
        observer=observer,
        moved=moved,
        standing_tilt_deg=None if before is None else before.standing_tilt_deg,
        supine_tilt_deg=None if before is None else before.supine_tilt_deg,
        tilt_source="" if before is None else before.tilt_source,
        version=0,
        saved_at=now,
    )


@router.post("/bones/{code}/tilt")
def save_tilt(
    request: Request,
    opened: OpenedBones,
    version: Annotated[int, Form(ge=0)],
    standing: Annotated[str, Form(max_length=12)] = "",
    supine: Annotated[str, Form(max_length=12)] = "",
    source: Annotated[str, Form(max_length=LONGEST_LINE)] = "",
    reader: Annotated[str, Form(max_length=12)] = "",
) -> Response:
    """Keep the pelvis's own tilt with a further version of the reading."""
    if reader and READER_CODE.fullmatch(reader):
        remember_reader(request, reader)
    changed = replace(
        _own(request, opened),
        standing_tilt_deg=_tilt(standing, "standing"),
        supine_tilt_deg=_tilt(supine, "supine"),
        tilt_source=" ".join(source.split()),
    )
    bones_of(request).save(changed, expected_version=version)
    return RedirectResponse(f"/bones/{opened.case.code}#tilt", HTTPStatus.SEE_OTHER)


def _tilt(said: str, field: str) -> float | None:
    said = said.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")
    if not said:
        return None
    try:
        value = float(said)
    except ValueError:
        value = float("nan")
    if not abs(value) <= MOST_TILT_DEG:
        raise LandmarkError(
            f"cannot use the {field} tilt",
            found=f"“{said}”",
            needed=f"degrees between −{MOST_TILT_DEG:.0f} and {MOST_TILT_DEG:.0f}, forward positive",
            next_step="Correct it.",
            field=field,
        )
    return value
