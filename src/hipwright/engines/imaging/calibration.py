"""Millimeters in the plane of the hip, from what is known about a film.

A projection radiograph enlarges the hip, because the hip lies between source
and detector. A length is therefore only as good as the magnification it was
divided by, and every :class:`~hipwright.domain.study.Calibration` made here
says in words where its scale comes from and how far it can be trusted.

Notes
-----
Which spacing means what: DICOM PS3.3, section 10.7 (Basic Pixel Spacing
Calibration Macro), read in the 2024d edition. How exact each way is: section
A.3 of the project's imaging reference, marks as given there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hipwright.domain.errors import CalibrationError
from hipwright.domain.quantities import Length
from hipwright.domain.study import (
    LARGEST_SPACING_MM,
    SMALLEST_SPACING_MM,
    Calibration,
    SpacingSource,
)

ASSUMED_MAGNIFICATION = 1.175
"""Middle of 1.15–1.20, the published range for hips [reference A.3, verified]."""

_FROM_MEAN_ERROR = math.sqrt(math.pi / 2)
"""Standard deviation of a centered normal error, over its mean size."""

ASSUMED_RELATIVE_SD = 0.05 / 1.96
"""The ±5 % band of reference A.3, read as a 95 % interval [judgment]."""

MARKER_RELATIVE_SD = 0.0255 * _FROM_MEAN_ERROR
"""A marker beside the hip: mean error 2.55 % [reference A.3, verified]."""

DISTANCES_RELATIVE_SD = 0.0157 * _FROM_MEAN_ERROR
"""The method of known distances: mean error 1.57 % [reference A.3, verified]."""

UNKNOWN_PLANE_RELATIVE_SD = 0.10 / 1.96
"""Nobody says whether the sender already corrected the spacing [judgment]."""

BY_HAND_RELATIVE_SD = 0.02
"""A scale read off the film by hand, where no doubt was given [judgment]."""

SAME_SPACING = 1e-3
"""Two spacings closer than this share are one spacing, written twice."""

DISAGREEMENT = 0.02
"""Two scales further apart than this share contradict each other [judgment]."""

LARGEST_MAGNIFICATION = 2.0
"""Beyond it the hip would hang nearer to the source than to the detector [judgment]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spacing:
    """Distance between the centers of neighboring rows and columns, in mm.

    DICOM writes the row spacing first (PS3.3 section 10.7.1.3): it is the
    vertical one.
    """

    row_mm: float
    column_mm: float

    @property
    def is_plausible(self) -> bool:
        """Whether a film of a hip can have such pixels."""
        both = (self.row_mm, self.column_mm)
        return all(
            math.isfinite(mm) and SMALLEST_SPACING_MM <= mm <= LARGEST_SPACING_MM for mm in both
        )

    def is_same_as(self, other: Spacing) -> bool:
        """Whether the two are one spacing, but for rounding in the header."""
        return math.isclose(self.row_mm, other.row_mm, rel_tol=SAME_SPACING) and math.isclose(
            self.column_mm, other.column_mm, rel_tol=SAME_SPACING
        )

    def __str__(self) -> str:
        return f"{self.row_mm:.4g} × {self.column_mm:.4g} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmScaleFacts:
    """What a film's header says about its scale; ``None`` where it says nothing.

    Parameters
    ----------
    pixel_spacing
        Pixel Spacing (0028,0030): in the patient, if the film was calibrated.
    detector_spacing
        Imager Pixel Spacing (0018,1164), or Nominal Scanned Pixel Spacing
        (0018,2010): never corrected.
    calibration_type
        Pixel Spacing Calibration Type (0028,0A02): ``GEOMETRY`` or ``FIDUCIAL``.
    stated_magnification
        Estimated Radiographic Magnification Factor (0018,1114).
    source_to_detector_mm, source_to_patient_mm
        Distances (0018,1110) and (0018,1111).
    pixel_aspect
        Height over width of a pixel, where only its shape is known.
    """

    pixel_spacing: Spacing | None = None
    detector_spacing: Spacing | None = None
    calibration_type: str | None = None
    stated_magnification: float | None = None
    source_to_detector_mm: float | None = None
    source_to_patient_mm: float | None = None
    pixel_aspect: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """A calibration and what a reader should know about how it came about."""

    calibration: Calibration
    warnings: tuple[str, ...] = ()


def magnification(source_to_detector: Length, hip_to_detector: Length) -> float:
    """How much larger the hip is on the detector than it is: SDD / (SDD − OID).

    Raises
    ------
    CalibrationError
        The hip would lie outside the space between source and detector.

    Examples
    --------
    >>> from hipwright.domain.quantities import Length
    >>> f"{magnification(Length.from_mm(1200.0), Length.from_mm(150.0)):.4f}"
    '1.1429'
    """
    sdd, oid = source_to_detector.mm, hip_to_detector.mm
    if not (sdd > 0 and 0 <= oid < sdd):
        raise CalibrationError(
            "cannot work out the magnification",
            found=f"source to detector {sdd:g} mm, hip to detector {oid:g} mm",
            needed="a hip between source and detector",
            next_step="Check both distances, or leave them out.",
            field="distances",
        )
    return sdd / (sdd - oid)


def calibrate_from_distances(
    detector: Spacing, *, source_to_detector: Length, hip_to_detector: Length
) -> Calibration:
    """The scale at the hip from the detector's pixels and two known distances."""
    factor = magnification(source_to_detector, hip_to_detector)
    return _at_the_hip(
        detector,
        factor,
        source=SpacingSource.DISTANCES,
        relative_sd=DISTANCES_RELATIVE_SD,
        note=(
            f"Detector pixels {detector}, divided by {factor:.3f}: source to detector "
            f"{source_to_detector.mm:.0f} mm, hip to detector {hip_to_detector.mm:.0f} mm."
        ),
    )


def calibrate_from_marker(
    *, diameter: Length, diameter_px: float, pixel_aspect: float = 1.0
) -> Calibration:
    """The scale at the hip from a ball of known diameter at the depth of the hip.

    ``diameter_px`` is the ball's width on the film in columns;
    ``pixel_aspect`` is a pixel's height over its width.

    Raises
    ------
    CalibrationError
        The diameter is not positive, or the scale would be absurd.
    """
    if not (math.isfinite(diameter_px) and diameter_px > 0 and diameter.mm > 0):
        raise CalibrationError(
            "cannot calibrate by the marker",
            found=f"{diameter.mm:g} mm over {diameter_px:g} pixels",
            needed="a diameter above zero, in millimeters and in pixels",
            next_step="Mark the ball's edge again.",
            field="marker",
        )
    column_mm = diameter.mm / diameter_px
    return Calibration(
        column_mm=column_mm,
        row_mm=column_mm * pixel_aspect,
        source=SpacingSource.MARKER,
        relative_sd=MARKER_RELATIVE_SD,
        note=(
            f"A ball of {diameter.mm:g} mm measures {diameter_px:.1f} pixels. Each centimeter "
            "it lies above or below the hip adds about 1 %."
        ),
    )


def calibrate_by_hand(
    millimeters_per_pixel: float,
    *,
    pixel_aspect: float = 1.0,
    relative_sd: float = BY_HAND_RELATIVE_SD,
) -> Calibration:
    """The scale at the hip as a person states it.

    Raises
    ------
    CalibrationError
        The scale is not a number, or absurd for a film of a hip.
    """
    return Calibration(
        column_mm=millimeters_per_pixel,
        row_mm=millimeters_per_pixel * pixel_aspect,
        source=SpacingSource.BY_HAND,
        relative_sd=relative_sd,
        note=f"{millimeters_per_pixel:.4g} mm per pixel, entered by hand.",
    )


def calibrate_with_assumed_magnification(
    detector: Spacing, *, relative_sd: float = ASSUMED_RELATIVE_SD, because: str = ""
) -> Calibration:
    """The scale at the hip from the detector's pixels and a usual magnification."""
    band = 1.96 * relative_sd
    lead = f"{because} " if because else ""
    return _at_the_hip(
        detector,
        ASSUMED_MAGNIFICATION,
        source=SpacingSource.ASSUMED,
        relative_sd=relative_sd,
        note=(
            f"{lead}Detector pixels {detector}, divided by an assumed {ASSUMED_MAGNIFICATION:g} "
            f"(1.15 to 1.20 is usual): lengths may be off by {band:.0%} either way."
        ),
    )


def calibrate_slices(spacing: Spacing | None) -> Calibrated:
    """The scale of CT and MR slices, which is the patient's own: nothing is enlarged."""
    if spacing is None or not spacing.is_plausible:
        found = "no pixel spacing" if spacing is None else f"a pixel spacing of {spacing}"
        return Calibrated(
            calibration=Calibration.uncalibrated(),
            warnings=(f"The header gives {found}: lengths are not in millimeters.",),
        )
    return Calibrated(
        calibration=Calibration(
            column_mm=spacing.column_mm,
            row_mm=spacing.row_mm,
            source=SpacingSource.PIXEL_SPACING,
            note=f"Slice pixels {spacing}, as the scanner wrote them.",
        )
    )


def calibrate_film(facts: FilmScaleFacts) -> Calibrated:
    """The best scale a film's header can carry, and what speaks against it.

    In this order: a spacing the sender calibrated in the patient; detector
    spacing with the sender's magnification; detector spacing with both
    distances; detector spacing with an assumed magnification; none.

    Notes
    -----
    PS3.3 section 10.7.1.1: a Pixel Spacing equal to the detector's was not
    corrected, one that differs was; with neither a calibration type nor a
    detector spacing it cannot be determined which.
    """
    warnings: list[str] = []
    pixel = _plausible(facts.pixel_spacing, "pixel spacing", warnings)
    detector = _plausible(facts.detector_spacing, "detector spacing", warnings)
    if pixel is not None and _was_calibrated(pixel, detector, facts.calibration_type):
        calibration = _from_sender(pixel, detector, facts, warnings)
    elif detector is not None:
        calibration = _from_detector(detector, facts, warnings)
    elif pixel is not None:
        warnings.append(
            "The header does not say whether its pixel spacing is that of the detector "
            "or that of the hip; it is taken as the detector's."
        )
        calibration = _from_detector(pixel, facts, warnings, relative_sd=UNKNOWN_PLANE_RELATIVE_SD)
    else:
        aspect = facts.pixel_aspect
        usable = math.isfinite(aspect) and aspect > 0
        calibration = Calibration.uncalibrated(pixel_aspect=aspect if usable else 1.0)
    return Calibrated(calibration=calibration, warnings=tuple(warnings))


def _plausible(spacing: Spacing | None, name: str, warnings: list[str]) -> Spacing | None:
    if spacing is None or spacing.is_plausible:
        return spacing
    warnings.append(
        f"The header's {name} of {spacing} is absurd for a film of a hip "
        f"({SMALLEST_SPACING_MM:g} to {LARGEST_SPACING_MM:g} mm) and was not used."
    )
    return None


def _was_calibrated(pixel: Spacing, detector: Spacing | None, kind: str | None) -> bool:
    if detector is not None:
        return not pixel.is_same_as(detector)
    return kind in {"GEOMETRY", "FIDUCIAL"}


def _from_sender(
    pixel: Spacing, detector: Spacing | None, facts: FilmScaleFacts, warnings: list[str]
) -> Calibration:
    factor = detector.column_mm / pixel.column_mm if detector is not None else None
    if factor is not None and not 1.0 <= factor <= LARGEST_MAGNIFICATION:
        warnings.append(
            f"The header's pixel spacing ({pixel}) and detector spacing ({detector}) contradict "
            f"each other: the hip would be enlarged {factor:.2f} times."
        )
    measured = factor or 1.0
    for said, value in _stated_magnifications(facts, []):
        if factor is not None and abs(value / measured - 1) > DISAGREEMENT:
            warnings.append(
                f"The header's pixel spacing means a magnification of {measured:.3f}, "
                f"but {said} mean{'s' if said.startswith('its') else ''} {value:.3f}."
            )
    by = {"FIDUCIAL": "against an object of known size", "GEOMETRY": "for a known geometry"}.get(
        facts.calibration_type or "", "in a way the header does not tell"
    )
    relative_sd = {
        "FIDUCIAL": MARKER_RELATIVE_SD,
        "GEOMETRY": DISTANCES_RELATIVE_SD,
    }.get(facts.calibration_type or "", ASSUMED_RELATIVE_SD)
    return Calibration(
        column_mm=pixel.column_mm,
        row_mm=pixel.row_mm,
        source=SpacingSource.PIXEL_SPACING,
        relative_sd=relative_sd,
        magnification=factor,
        note=f"Pixels {pixel} at the hip, corrected by the sender {by}.",
    )


def _from_detector(
    detector: Spacing,
    facts: FilmScaleFacts,
    warnings: list[str],
    *,
    relative_sd: float = ASSUMED_RELATIVE_SD,
) -> Calibration:
    stated = _stated_magnifications(facts, warnings)
    if not stated:
        return calibrate_with_assumed_magnification(detector, relative_sd=relative_sd)
    said, factor = stated[0]
    for other, value in stated[1:]:
        if abs(value / factor - 1) > DISAGREEMENT:
            warnings.append(
                f"The header contradicts itself: {said} gives a magnification of {factor:.3f}, "
                f"{other} {value:.3f}. The first was used."
            )
    return _at_the_hip(
        detector,
        factor,
        source=SpacingSource.DISTANCES,
        relative_sd=DISTANCES_RELATIVE_SD,
        note=f"Detector pixels {detector}, divided by {factor:.3f}, from {said}.",
    )


def _stated_magnifications(facts: FilmScaleFacts, warnings: list[str]) -> list[tuple[str, float]]:
    """Every magnification the header carries, the sender's own word first."""
    found: list[tuple[str, float]] = []
    stated = facts.stated_magnification
    if stated is not None and stated != 1.0:  # 1 is what senders write who know nothing
        found.append(("its magnification factor", stated))
    sdd, spd = facts.source_to_detector_mm, facts.source_to_patient_mm
    if sdd is not None and spd is not None and sdd > 0 and spd > 0 and sdd != spd:
        found.append(("its source, patient and detector distances", sdd / spd))
    kept: list[tuple[str, float]] = []
    for said, factor in found:
        if math.isfinite(factor) and 1.0 < factor <= LARGEST_MAGNIFICATION:
            kept.append((said, factor))
        else:
            warnings.append(
                f"The header gives an absurd magnification of {factor:.3g} in {said}; not used."
            )
    return kept


def _at_the_hip(
    detector: Spacing, factor: float, *, source: SpacingSource, relative_sd: float, note: str
) -> Calibration:
    return Calibration(
        column_mm=detector.column_mm / factor,
        row_mm=detector.row_mm / factor,
        source=source,
        relative_sd=relative_sd,
        magnification=factor,
        note=note,
    )
