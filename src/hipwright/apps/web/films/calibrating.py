"""The scale of a film, set by hand on the picture."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from hipwright.apps.web.films.messages import Message, Number
from hipwright.domain.errors import CalibrationError
from hipwright.domain.keeping import Image
from hipwright.domain.quantities import Length
from hipwright.domain.study import Calibration
from hipwright.engines.geometry.circles import fit_circle
from hipwright.engines.imaging.calibration import (
    BY_HAND_RELATIVE_SD,
    Spacing,
    calibrate_by_hand,
    calibrate_from_distances,
    calibrate_from_marker,
)

Clicks = Annotated[tuple[tuple[Number, Number], ...], Field(max_length=100)]
ENDS_OF_A_DISTANCE = 2
CLICK_SD_PX = 1.0
"""How exactly a click is set on an edge (judgment)."""


class Ball(Message):
    """Clicks on the outline of a ball of known diameter."""

    by: Literal["ball"]
    xy: Clicks
    diameter_mm: Number


class TwoPoints(Message):
    """Two points a known distance apart, at the depth of the hip."""

    by: Literal["points"]
    xy: Clicks
    distance_mm: Number


class Distances(Message):
    """The detector's own pixels and how far source, hip and detector were apart."""

    by: Literal["distances"]
    detector_mm: Number
    source_to_detector_mm: Number
    hip_to_detector_mm: Number


class Remove(Message):
    """No scale at all."""

    by: Literal["none"]


class CalibrationWish(Message):
    """What the reader marked and typed; ``keep`` saves it."""

    how: Annotated[Ball | TwoPoints | Distances | Remove, Field(discriminator="by")]
    keep: bool = False
    expected_version: int = 0


def calibrated(image: Image, wish: CalibrationWish) -> Calibration:
    """The calibration that follows from what was marked and typed.

    Raises
    ------
    CalibrationError
        The marks or numbers hold no scale.
    DegenerateGeometryError
        The clicks on the ball hold no circle.
    """
    aspect = image.calibration.row_mm / image.calibration.column_mm
    how = wish.how
    match how:
        case Ball():
            _, radius = fit_circle(np.array(how.xy).reshape(-1, 2) * (1.0, aspect))
            return calibrate_from_marker(
                diameter=Length.from_mm(how.diameter_mm),
                diameter_px=2 * radius,
                pixel_aspect=aspect,
            )
        case TwoPoints():
            return _from_two_points(how, aspect)
        case Distances():
            detector = Spacing(row_mm=how.detector_mm * aspect, column_mm=how.detector_mm)
            return calibrate_from_distances(
                detector,
                source_to_detector=Length.from_mm(how.source_to_detector_mm),
                hip_to_detector=Length.from_mm(how.hip_to_detector_mm),
            )
        case Remove():
            return Calibration.uncalibrated(pixel_aspect=aspect)


def _from_two_points(how: TwoPoints, aspect: float) -> Calibration:
    if len(how.xy) != ENDS_OF_A_DISTANCE:
        raise CalibrationError(
            "cannot calibrate by two points",
            found=f"{len(how.xy)} points",
            needed="two",
            next_step="Click both ends of the known distance.",
            field="xy",
        )
    (x1, y1), (x2, y2) = how.xy
    apart = math.hypot(x2 - x1, (y2 - y1) * aspect)
    if apart <= 0 or how.distance_mm <= 0:
        raise CalibrationError(
            "cannot calibrate by two points",
            found=f"{how.distance_mm:g} mm over {apart:g} pixels",
            needed="a distance above zero, in millimeters and in pixels",
            next_step="Set the two points apart and enter their distance.",
            field="distance_mm",
        )
    clicks = math.sqrt(2) * CLICK_SD_PX / apart
    scale = calibrate_by_hand(
        how.distance_mm / apart,
        pixel_aspect=aspect,
        relative_sd=math.hypot(BY_HAND_RELATIVE_SD, clicks),
    )
    note = f"Two points {how.distance_mm:g} mm apart measure {apart:.1f} pixels."
    return replace(scale, note=note)
