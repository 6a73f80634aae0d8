"""Addresses that save: landmarks a reader moved, and the pelvis's own tilt."""

from __future__ import annotations

from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from hipwright.apps.web.bones.at_hand import Tilts, piece_of
from hipwright.apps.web.bones.desk import Opened, OpenedBones, bones_of, shelf_of
from hipwright.apps.web.bones.files import surface_of
from hipwright.apps.web.bones.landmarks import (
    movable_feature,
    moved_point,
    pieces_for,
    place_on_bone,
    place_on_ray,
)
from hipwright.apps.web.films.reader import READER_CODE, observer_of, remember_reader
from hipwright.catalog import load
from hipwright.catalog.bone_features import BoneFeature
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
    at_hand, observer = bones_of(request), _reader(request)
    expected = placed.expected_version
    try:
        if placed.at is None:
            saved = at_hand.put_back(
                opened.build, observer, placed.landmark, placed.side, expected_version=expected
            )
        else:
            trees = _trees(request, opened, feature, placed.side)
            at = place_on_bone(trees, placed.landmark, placed.at)
            point = moved_point(feature, placed.side, at)
            saved = at_hand.move(opened.build, observer, point, expected_version=expected)
    except StaleWriteError as error:
        return _stale(error)
    return JSONResponse({"version": saved.version, "observer": saved.observer})


def _stale(error: StaleWriteError) -> Response:
    body: Json = {"error": {"code": error.code, "message": str(error)}}
    if isinstance(error.kept, BoneReading):
        body["kept"] = {"version": error.kept.version, "observer": error.kept.observer}
    return JSONResponse(body, HTTPStatus.CONFLICT)


def _reader(request: Request) -> str:
    """Who reads.

    Raises
    ------
    LandmarkError
        Nobody has said.
    """
    observer = observer_of(request)
    if observer is None:
        raise LandmarkError(
            "cannot keep the change",
            found="nobody's code",
            needed="a short code of who reads, such as initials",
            next_step="Give it beside the landmarks.",
            field="reader",
        )
    return observer


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
    tilts = Tilts(
        standing_deg=_tilt(standing, "standing"),
        supine_deg=_tilt(supine, "supine"),
        source=" ".join(source.split()),
        expected_version=version,
    )
    bones_of(request).say_tilts(opened.build, _reader(request), tilts)
    return RedirectResponse(
        f"/bones/{opened.case.code}?build={opened.build.id}#tilt", HTTPStatus.SEE_OTHER
    )


def _tilt(said: str, field: str) -> float | None:
    said = said.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".").removesuffix("°")
    if not said:
        return None
    try:
        return float(said)
    except ValueError:
        raise LandmarkError(
            f"cannot use the {field} tilt",
            found=f"“{said}”",
            needed="degrees, forward positive, such as 4.5",
            next_step="Correct it.",
            field=field,
        ) from None
