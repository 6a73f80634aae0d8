"""Frames, and points that know theirs.

Films have two frames: ``film_px`` (column to the right, row downward, the
center of the first pixel at (0, 0)) and ``film_hip`` (u lateral or, on a
false profile, anterior; v superior; origin at the middle of the picture;
leveled by the pelvic baseline). Volumes have ``patient_lps``
(+left +posterior +superior, DICOM). ``hip_canonical`` is X lateral,
Y anterior, Z superior, for either hip.

A frame is a kind *and* what it is fixed to, so points of two studies cannot
be mixed by accident.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from hipwright.domain.errors import DegenerateGeometryError, FrameMismatchError


class FrameKind(Enum):
    """What the axes of a frame mean."""

    FILM_PX = "film_px"
    FILM_HIP = "film_hip"
    PATIENT_LPS = "patient_lps"
    PELVIS_APP = "pelvis_app"
    FEMUR = "femur"
    HIP_CANONICAL = "hip_canonical"


class Scale(Enum):
    """What one unit of a ``film_hip`` frame is."""

    MM = "mm"
    UNCALIBRATED = "uncalibrated"


@dataclass(frozen=True, slots=True)
class Frame:
    """A kind of frame and what it is fixed to."""

    kind: FrameKind
    fixed_to: str
    scale: Scale = Scale.MM

    def __str__(self) -> str:
        return f"{self.kind.value}({self.fixed_to})"


def _finite(*numbers: float) -> None:
    if not all(math.isfinite(number) for number in numbers):
        raise DegenerateGeometryError(
            "cannot make a point",
            found=str(numbers),
            needed="finite coordinates",
            next_step="Check the landmark file or place the landmark again.",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmPoint:
    """A point of a film: (column, row) in ``film_px``, (u, v) in ``film_hip``."""

    x: float
    y: float
    frame: Frame

    def __post_init__(self) -> None:
        _finite(self.x, self.y)


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A point in space."""

    x: float
    y: float
    z: float
    frame: Frame

    def __post_init__(self) -> None:
        _finite(self.x, self.y, self.z)


def require_one_frame(*frames: Frame) -> Frame:
    """Return the one frame that all arguments share.

    Raises
    ------
    FrameMismatchError
        Two of them differ.
    """
    first = frames[0]
    for other in frames[1:]:
        if other != first:
            raise FrameMismatchError(
                "cannot combine points",
                needed=f"points in {first}",
                found=f"points in {other}",
                next_step="They belong to two hips, films or studies: check which is loaded.",
            )
    return first


def film_hip_point(
    *, lateral: float, superior: float, hip: str = "example", scale: Scale = Scale.MM
) -> FilmPoint:
    """A point of a leveled film, lateral and superior of the origin.

    Examples
    --------
    >>> film_hip_point(lateral=12.5, superior=21.65).x
    12.5
    """
    frame = Frame(FrameKind.FILM_HIP, hip, scale)
    return FilmPoint(x=lateral, y=superior, frame=frame)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmCircle:
    """A circle on a film; ``radius`` is in the unit of its frame."""

    center: FilmPoint
    radius: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.radius) and self.radius > 0):
            raise DegenerateGeometryError(
                "cannot make a circle",
                found=f"a radius of {self.radius}",
                needed="a positive radius",
                next_step="Click at least three well-spread points on the outline.",
            )

    @property
    def frame(self) -> Frame:
        """The frame of the center."""
        return self.center.frame


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmContour:
    """An open outline on a film, two or more points in drawing order."""

    points: tuple[FilmPoint, ...]

    def __post_init__(self) -> None:
        if len(self.points) < 2:  # noqa: PLR2004 - a line has two ends
            raise DegenerateGeometryError(
                "cannot make a contour",
                found=f"{len(self.points)} points",
                needed="two or more",
                next_step="Draw the contour again.",
            )
        require_one_frame(*(point.frame for point in self.points))

    @property
    def frame(self) -> Frame:
        """The frame of all its points."""
        return self.points[0].frame
