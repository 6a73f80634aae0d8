"""Films as they reach the engines: no pixels, no identity."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from hipwright.domain.errors import CalibrationError


class View(Enum):
    """How a picture was taken."""

    PELVIS_AP = "pelvis_ap"
    DUNN_45 = "dunn_45"
    FALSE_PROFILE = "false_profile"
    LATERAL_OTHER = "lateral_other"
    CT = "ct"
    MR = "mr"
    OTHER = "other"

    @property
    def shows_both_hips(self) -> bool:
        """Whether a pelvic baseline can be drawn on this view."""
        return self is View.PELVIS_AP

    @property
    def is_film(self) -> bool:
        """Whether the picture is a projection radiograph."""
        return self not in {View.CT, View.MR}


VIEW_NAMES = {
    View.PELVIS_AP: "AP pelvis",
    View.DUNN_45: "45° Dunn",
    View.FALSE_PROFILE: "False profile",
    View.LATERAL_OTHER: "Other lateral",
    View.CT: "CT",
    View.MR: "MR",
    View.OTHER: "Other",
}
"""What each view is called on screens and in documents."""


class Posture(Enum):
    """How the patient was positioned."""

    SUPINE = "supine"
    STANDING = "standing"
    UNKNOWN = "unknown"


class SpacingSource(Enum):
    """Where the millimeters of a film come from, best first."""

    MARKER = "marker of known size"
    DISTANCES = "known source, detector and hip distances"
    PIXEL_SPACING = "pixel spacing calibrated by the sender"
    ASSUMED = "detector spacing and an assumed magnification"
    BY_HAND = "scale entered by hand"
    NONE = "uncalibrated"


SMALLEST_SPACING_MM = 0.01
LARGEST_SPACING_MM = 5.0
"""Pixels outside 0.01–5 mm are no hip film (judgment)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Millimeters in the plane of the hip per pixel, and how sure.

    Parameters
    ----------
    column_mm, row_mm
        Distance between neighboring columns and rows in the plane of the hip.
        For an uncalibrated film both are the pixel's shape only: their ratio
        counts, their size does not.
    source
        Where they come from.
    relative_sd
        Standard deviation of the common scale, as a share of it.
    magnification
        Detector plane over hip plane, where one was applied.
    note
        The provenance in words, for screens and reports.
    """

    column_mm: float
    row_mm: float
    source: SpacingSource
    relative_sd: float = 0.0
    magnification: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        numbers = (self.column_mm, self.row_mm, self.relative_sd)
        if not all(math.isfinite(x) for x in numbers) or self.relative_sd < 0:
            raise CalibrationError(
                "cannot calibrate the film",
                found=f"spacing {self.column_mm} × {self.row_mm}, doubt {self.relative_sd}",
                needed="finite numbers and a doubt of zero or more",
                next_step="Enter the scale by hand or leave the film uncalibrated.",
                field="calibration",
            )
        smallest, largest = sorted((self.column_mm, self.row_mm))
        absurd = smallest < SMALLEST_SPACING_MM or largest > LARGEST_SPACING_MM
        if self.is_calibrated and absurd:
            raise CalibrationError(
                "cannot calibrate the film",
                found=f"a pixel of {self.column_mm:g} × {self.row_mm:g} mm",
                needed=f"{SMALLEST_SPACING_MM} to {LARGEST_SPACING_MM} mm",
                next_step="Check the unit of the spacing, or leave the film uncalibrated.",
                field="calibration",
            )
        if smallest <= 0:
            raise CalibrationError(
                "cannot calibrate the film",
                found=f"a pixel of {self.column_mm:g} × {self.row_mm:g}",
                needed="a positive width and height",
                next_step="Enter the scale by hand or leave the film uncalibrated.",
                field="calibration",
            )

    @classmethod
    def uncalibrated(cls, *, pixel_aspect: float = 1.0) -> Calibration:
        """A film whose millimeters are unknown; rows are ``pixel_aspect`` times columns."""
        return cls(
            column_mm=1.0,
            row_mm=pixel_aspect,
            source=SpacingSource.NONE,
            note="No scale: lengths are shown in pixels and cannot be compared.",
        )

    @property
    def is_calibrated(self) -> bool:
        """Whether lengths of this film may be called millimeters."""
        return self.source is not SpacingSource.NONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """A projection radiograph, as much of it as a measurement needs.

    Parameters
    ----------
    image
        Id of the image in the workspace.
    view, posture
        How it was taken.
    columns, rows
        Size of the picture in pixels.
    calibration
        The scale in the plane of the hip.
    patient_right_at_image_left
        The usual way to show a film; ``False`` for one shown mirrored.
    anterior_at_image_right
        On false profiles and other laterals: where the front of the patient is.
        ``None`` where nobody has said so.
    """

    image: str
    view: View
    columns: int
    rows: int
    calibration: Calibration
    posture: Posture = Posture.UNKNOWN
    patient_right_at_image_left: bool = True
    anterior_at_image_right: bool | None = None

    def __post_init__(self) -> None:
        if self.columns < 1 or self.rows < 1:
            raise CalibrationError(
                "cannot use the film",
                found=f"{self.columns} × {self.rows} pixels",
                needed="at least one pixel",
                next_step="Import the film again.",
                field="image",
            )
