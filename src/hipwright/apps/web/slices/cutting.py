"""Addresses of voxels as raw rows: pictures of a view, their labels, planes around the neck."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter, Query, Request, Response

from hipwright.apps.web.slices.desk import (
    blank_labels,
    block_of,
    keeper_of,
    kept_edits,
    labels_of,
    series_of,
    working_edits,
)
from hipwright.apps.web.slices.volume_shelf import Block
from hipwright.domain.errors import NotFoundError
from hipwright.engines.imaging.painting import shown_codes
from hipwright.engines.imaging.reformat import cut_codes, cut_values, neck_clock, radial_plane
from hipwright.engines.imaging.slice_views import SliceDirection, SliceView

router = APIRouter()

MOST_PICTURES = 32
RADIAL_HALF_MM, RADIAL_STEP_MM = 46.0, 0.4
"""Half the side of a radial picture, and its pixel."""

HOURS = 12
BINARY = "application/octet-stream"

Count = Annotated[int, Query(ge=1, le=MOST_PICTURES)]
Desk = Annotated[str, Query(max_length=40)]
Whose = Literal["mine", "kept"]


@router.get("/slices/{image}/cuts/{block}/{direction}/{first}")
async def cuts(
    request: Request,
    image: str,
    block: int,
    direction: SliceDirection,
    first: int,
    count: Count = 1,
) -> Response:
    """Pictures in a row: int16, little-endian, rows from top to bottom; not compressed."""
    body = await asyncio.to_thread(_cuts, request, image, block, direction, first, count)
    return Response(body, media_type=BINARY)


def _cuts(
    request: Request, image: str, block: int, direction: SliceDirection, first: int, count: int
) -> bytes:
    shown = block_of(request, image, block)
    view = view_of(shown, direction)
    pictures = (view.values(shown.volume, k) for k in _indices(view, first, count))
    return b"".join(picture.astype("<i2", copy=False).tobytes() for picture in pictures)


@router.get("/slices/{image}/codes/{block}/{direction}/{first}")
async def codes(
    request: Request,
    image: str,
    block: int,
    direction: SliceDirection,
    first: int,
    count: Count = 1,
    desk: Desk = "",
    whose: Whose = "mine",
) -> Response:
    """Labels of pictures in a row, uint8, with a page's or the kept edits painted over them."""
    body = await asyncio.to_thread(
        _codes, request, image, block, direction, first, count, desk, whose
    )
    return Response(body, media_type=BINARY)


def _codes(
    request: Request,
    image: str,
    block: int,
    direction: SliceDirection,
    first: int,
    count: int,
    desk: str,
    whose: Whose,
) -> bytes:
    shown = block_of(request, image, block)
    series = series_of(keeper_of(request), image)
    view = view_of(shown, direction)
    labels = labels_of(request, series, shown) or blank_labels(shown)
    if whose == "kept":
        edits, _ = kept_edits(keeper_of(request), series, shown)
    else:
        edits = working_edits(request, series, shown, desk).now
    pictures = (shown_codes(labels, edits, view, k) for k in _indices(view, first, count))
    return b"".join(picture.tobytes() for picture in pictures)


@router.get("/slices/{image}/radial/{block}")
async def radial(
    request: Request,
    image: str,
    block: int,
    head: Annotated[str, Query(max_length=80)],
    neck: Annotated[str, Query(max_length=80)],
    planes: Annotated[int, Query(ge=2, le=48)] = 12,
) -> Response:
    """Pictures around the neck's axis, the first with 12 o'clock up, through half the clock.

    All gray values first (int16), then all labels (uint8).
    """
    places = _place(head, "head"), _place(neck, "neck")
    body, side = await asyncio.to_thread(_radial, request, image, block, places, planes)
    headers = {"Radial-Side": str(side), "Radial-Step": str(RADIAL_STEP_MM)}
    return Response(body, media_type=BINARY, headers=headers)


def _radial(
    request: Request,
    image: str,
    block: int,
    places: tuple[np.ndarray, np.ndarray],
    planes: int,
) -> tuple[bytes, int]:
    shown = block_of(request, image, block)
    labels = labels_of(request, series_of(keeper_of(request), image), shown)
    clock = neck_clock(*places)
    hours = [k * HOURS / 2 / planes or float(HOURS) for k in range(planes)]
    cut = [
        radial_plane(clock, hour, half_mm=RADIAL_HALF_MM, step_mm=RADIAL_STEP_MM) for hour in hours
    ]
    values = [cut_values(shown.volume, plane).astype("<i2", copy=False).tobytes() for plane in cut]
    if labels is None:
        under = [bytes(plane.rows * plane.columns) for plane in cut]
    else:
        under = [cut_codes(labels, plane).tobytes() for plane in cut]
    return b"".join((*values, *under)), cut[0].columns


def view_of(block: Block, direction: SliceDirection) -> SliceView:
    """One of a block's three views."""
    return next(view for view in block.views if view.direction is direction)


def _indices(view: SliceView, first: int, count: int) -> Iterator[int]:
    if not 0 <= first < view.count:
        raise NotFoundError(
            "cannot show the slice",
            found=f"slice {first + 1}",
            needed=f"1 to {view.count}",
            next_step="Open the series again.",
            field="first",
        )
    return iter(range(first, min(first + count, view.count)))


def _place(text: str, field: str) -> np.ndarray:
    try:
        place = np.array([float(part) for part in text.split(",")])
    except ValueError:
        place = np.array([])
    if place.shape != (3,) or not np.isfinite(place).all():
        raise NotFoundError(
            "cannot lay planes around the neck",
            found=f"{field} {text!r}",
            needed="three numbers, mm",
            next_step="Place both centers again.",
            field=field,
        )
    return place
