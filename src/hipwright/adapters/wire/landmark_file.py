"""The landmark file: what a reader placed, in pixels or millimeters."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, ValidationError

from hipwright.adapters.wire.documents import WireModel
from hipwright.domain.errors import CalibrationError, LandmarkError
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side
from hipwright.domain.study import Film

SideName = Literal["left", "right"]
Coordinate = Annotated[float, Field(strict=True, allow_inf_nan=False)]
"""A number, never text that looks like one."""

LARGEST_FILE = 2_000_000
"""Bytes: both hips of a film with finely drawn outlines take some 150 thousand (judgment)."""

LONGEST_FAULT = 200
"""Letters of what is wrong with a file that are told: names in it may be endless."""


class WirePoint(WireModel):
    """One landmark; ``side`` is left out for landmarks of the midline."""

    id: str
    side: SideName | None = None
    x: Coordinate
    y: Coordinate
    sd: Coordinate | None = None


class WireContour(WireModel):
    """One outline, or the outline clicks of a circle."""

    id: str
    side: SideName | None = None
    xy: list[tuple[Coordinate, Coordinate]]


class LandmarkFile(WireModel):
    """Landmarks of one film.

    With ``unit`` ``px``, x is the column and y the row, the center of the first
    pixel at (0, 0). With ``mm``, both are millimeters in the plane of the hip
    from that same point, x to the right and y down.
    """

    format: Literal["hipwright.landmarks"] = "hipwright.landmarks"
    version: Literal[1] = 1
    image: str = ""
    unit: Literal["px", "mm"] = "px"
    observer: str = Field(min_length=1, max_length=100)
    reading: int = Field(default=1, ge=1, le=9999, strict=True)
    points: list[WirePoint] = Field(default_factory=list[WirePoint])
    contours: list[WireContour] = Field(default_factory=list[WireContour])


def read_landmark_file(path: Path) -> LandmarkFile:
    """Read a landmark file from disk.

    Raises
    ------
    LandmarkError
        There is no such file, it is too large, no JSON, or not of this format.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except OSError as error:
        raise _unreadable(error.strerror or type(error).__name__) from error
    if len(raw) > LARGEST_FILE:
        raise _unreadable(f"more than {LARGEST_FILE} bytes")
    try:
        return parse_landmark_file(raw.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise _unreadable("bytes that are no UTF-8") from error


def _unreadable(found: str) -> LandmarkError:
    return LandmarkError(
        "cannot read the landmark file",
        found=found,
        needed="a readable JSON file in UTF-8 with the landmarks of one film",
        next_step="Check the path.",
        field="from",
    )


def parse_landmark_file(content: str) -> LandmarkFile:
    """Read a landmark file from text.

    Raises
    ------
    LandmarkError
        It is no JSON, or not of this format.
    """
    try:
        _no_byte_order_mark(content)
        return LandmarkFile.model_validate(
            json.loads(content, parse_constant=_no_constant, object_pairs_hook=_each_once)
        )
    except (ValueError, RecursionError) as error:
        raise LandmarkError(
            "cannot use the landmark file",
            found=_first_fault(error)[:LONGEST_FAULT],
            needed='{"format": "hipwright.landmarks", "version": 1, ...}',
            next_step="docs/reference/landmark-file.md describes the format.",
            field="from",
        ) from error


def _no_byte_order_mark(content: str) -> None:
    if content.startswith("\ufeff"):
        raise ValueError("a byte order mark before the JSON: save the file as plain UTF-8")


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not a coordinate")


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        twice = next(name for name, _ in pairs if name in seen or seen.add(name))
        raise ValueError(f"{twice!r} twice in one object")
    return found


def _first_fault(error: ValueError | RecursionError) -> str:
    if isinstance(error, ValidationError):
        fault = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(part) for part in fault["loc"])
        return f"{place}: {fault['msg']}" if place else fault["msg"]
    if isinstance(error, RecursionError):
        return "lists within lists without end"
    return str(error)


def landmarks_from_wire(file: LandmarkFile, film: Film) -> LandmarkSet:
    """The file's landmarks on a film, in pixels.

    Raises
    ------
    CalibrationError
        The file is in millimeters and the film has no scale.
    """
    column, row = _mm_per_px(file, film)
    return LandmarkSet(
        image=film.image,
        observer=file.observer,
        reading=file.reading,
        points=tuple(
            PlacedPoint(
                id=point.id,
                side=_side(point.side),
                x_px=point.x / column,
                y_px=point.y / row,
                sd_px=None if point.sd is None else point.sd / column,
            )
            for point in file.points
        ),
        contours=tuple(
            PlacedContour(
                id=contour.id,
                side=_side(contour.side),
                xy_px=np.asarray(contour.xy, dtype=np.float64).reshape(-1, 2) / (column, row),
            )
            for contour in file.contours
        ),
    )


def _mm_per_px(file: LandmarkFile, film: Film) -> tuple[float, float]:
    if file.unit == "px":
        return 1.0, 1.0
    if not film.calibration.is_calibrated:
        raise CalibrationError(
            "cannot use landmarks in millimeters",
            found="an uncalibrated film",
            needed="a scale, or landmarks in pixels",
            next_step="Calibrate the film first, or write the file in px.",
            field="unit",
        )
    return film.calibration.column_mm, film.calibration.row_mm


def _side(name: SideName | None) -> Side | None:
    return None if name is None else Side(name)


def landmarks_to_wire(landmarks: LandmarkSet) -> LandmarkFile:
    """A landmark set as a file in pixels."""
    return LandmarkFile(
        image=landmarks.image,
        observer=landmarks.observer,
        reading=landmarks.reading,
        points=[
            WirePoint(id=p.id, side=_name(p.side), x=p.x_px, y=p.y_px, sd=p.sd_px)
            for p in landmarks.points
        ],
        contours=[
            WireContour(id=c.id, side=_name(c.side), xy=[(x, y) for x, y in c.xy_px.tolist()])
            for c in landmarks.contours
        ],
    )


def _name(side: Side | None) -> SideName | None:
    if side is None:
        return None
    return "left" if side is Side.LEFT else "right"
