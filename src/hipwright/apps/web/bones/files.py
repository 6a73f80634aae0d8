"""Addresses of binary parts: surfaces, and what is painted on them."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from hipwright.apps.web.bones.desk import OpenedBones, bones_of, piece_named, shelf_of
from hipwright.apps.web.bones.measuring import measured_of, side_of
from hipwright.apps.web.bones.packing import mesh_bytes, paint_bytes
from hipwright.apps.web.bones.painting import MAPS, range_of
from hipwright.domain.anatomy import Surface
from hipwright.domain.errors import NotFoundError

router = APIRouter()

KEPT = {"Cache-Control": "private, max-age=31536000, immutable"}
"""Addresses hold the build and the version of the reading, so what they give never changes."""

BINARY = "application/octet-stream"


def surface_of(request: Request, opened: OpenedBones, piece: str) -> Surface:
    """The surface of a piece, read once."""
    bone = piece_named(opened.build, piece)
    at_hand = bones_of(request)
    return shelf_of(request).get(
        ("surface", bone.surface_file), lambda: at_hand.surface(opened.build, bone)
    )


@router.get("/bones/{code}/mesh/{piece}")
def mesh(request: Request, opened: OpenedBones, piece: str) -> Response:
    """One bone's surface, mm in ``patient_lps``."""
    bone = piece_named(opened.build, piece)
    packed = bones_of(request).mesh(bone)
    return Response(packed, media_type=BINARY, headers=KEPT)


@router.get("/bones/{code}/map/{wanted}/{piece}")
def painted(request: Request, opened: OpenedBones, wanted: str, piece: str) -> Response:
    """What is painted on one bone, one byte a vertex."""
    shown = measured_of(request, opened).map(wanted)
    words = next((one for one in MAPS if one.id == wanted), None)
    ends = None if shown is None or words is None else range_of(shown, words)
    if shown is None or ends is None or piece not in shown.values:
        raise NotFoundError(
            "cannot paint the bone",
            found=f"no map {wanted} of the {piece.replace('_', ' ')}",
            needed="a map that was made",
            next_step="Choose another map.",
            field="map",
        )
    packed = paint_bytes(shown.values[piece], ends.low, ends.high)
    return Response(packed, media_type=BINARY, headers=KEPT)


@router.get("/bones/{code}/mirrored/{piece}")
def mirrored(request: Request, opened: OpenedBones, piece: str) -> Response:
    """A bone of one hip as it would lie on the other: heads together, mirrored in the pelvis."""
    bone = piece_named(opened.build, piece)
    side = bone.bone.side
    measured = measured_of(request, opened)
    borders = [
        None if s is None else side_of(measured, s).border for s in (side, side and side.opposite)
    ]
    here, there = borders
    if here is None or there is None:
        raise NotFoundError(
            "cannot lay the hips over each other",
            found="a hip without a frame of the pelvis",
            needed="both heads and the anterior pelvic plane",
            next_step="Look at the remarks on the bones.",
            field="piece",
        )
    whole = surface_of(request, opened, piece)
    home = there.surface_from_canonical(
        Surface(
            vertices=here.to_canonical(whole.vertices),
            faces=here.surface_to_canonical(whole).faces,
            frame=there.frame,
        )
    )
    return Response(mesh_bytes(home), media_type=BINARY, headers=KEPT)
