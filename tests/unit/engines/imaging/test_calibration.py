"""Millimeters and where they come from."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.domain.errors import CalibrationError
from hipwright.domain.quantities import Length
from hipwright.domain.study import SpacingSource
from hipwright.engines.imaging.calibration import (
    FilmScaleFacts,
    Spacing,
    calibrate_by_hand,
    calibrate_film,
    calibrate_from_distances,
    calibrate_from_marker,
    calibrate_slices,
    magnification,
)

DETECTOR = Spacing(row_mm=0.14, column_mm=0.14)


def mm(value: float) -> Length:
    return Length.from_mm(value)


@pytest.mark.parametrize(
    ("sdd", "oid", "expected"),
    # T10 and section A.3 of the imaging reference [computed there].
    [(1200, 150, 1.1429), (1200, 200, 1.2000), (1200, 170, 1.165), (1150, 150, 1.150)],
)
def test_magnification_matches_the_reference(sdd: float, oid: float, expected: float) -> None:
    assert magnification(mm(sdd), mm(oid)) == pytest.approx(expected, abs=5e-4)


def test_a_centimeter_of_depth_is_about_one_percent() -> None:
    # Reference A.3: about 0.95 % per cm at 150 mm [computed there].
    change = magnification(mm(1200), mm(160)) / magnification(mm(1200), mm(150)) - 1
    assert change == pytest.approx(0.0095, abs=0.0003)


@pytest.mark.parametrize(("sdd", "oid"), [(0, 0), (1000, 1000), (1000, -1), (-5, 1)])
def test_magnification_refuses_a_hip_outside_the_beam(sdd: float, oid: float) -> None:
    with pytest.raises(CalibrationError, match="between source and detector"):
        magnification(mm(sdd), mm(oid))


@given(st.floats(500, 3000), st.floats(0, 400), st.floats(10, 60))
def test_a_ball_measures_its_own_diameter_whatever_the_distances(
    sdd: float, oid: float, ball_mm: float
) -> None:
    on_film_px = ball_mm * magnification(mm(sdd), mm(oid)) / DETECTOR.column_mm
    by_marker = calibrate_from_marker(diameter=mm(ball_mm), diameter_px=on_film_px)
    by_distance = calibrate_from_distances(
        DETECTOR, source_to_detector=mm(sdd), hip_to_detector=mm(oid)
    )
    assert by_marker.column_mm == pytest.approx(by_distance.column_mm, rel=1e-9)


def test_an_equal_pixel_spacing_was_not_calibrated() -> None:
    # PS3.3 section 10.7.1.1: equal to Imager Pixel Spacing means not corrected.
    found = calibrate_film(FilmScaleFacts(pixel_spacing=DETECTOR, detector_spacing=DETECTOR))
    assert found.calibration.source is SpacingSource.ASSUMED
    assert found.calibration.column_mm == pytest.approx(0.14 / 1.175)
    assert found.calibration.magnification == 1.175


def test_a_different_pixel_spacing_was_calibrated_by_the_sender() -> None:
    # PS3.3 section 10.7.1.1: different from Imager Pixel Spacing means corrected.
    at_hip = Spacing(row_mm=0.12, column_mm=0.12)
    facts = FilmScaleFacts(
        pixel_spacing=at_hip, detector_spacing=DETECTOR, calibration_type="FIDUCIAL"
    )
    found = calibrate_film(facts)
    assert found.calibration.source is SpacingSource.PIXEL_SPACING
    assert found.calibration.column_mm == 0.12
    assert found.calibration.magnification == pytest.approx(0.14 / 0.12)
    assert "object of known size" in found.calibration.note
    assert found.warnings == ()


def test_a_pixel_spacing_of_unknown_plane_is_doubted() -> None:
    # PS3.3 section 10.7.1.1: with neither type nor detector spacing it cannot be determined.
    found = calibrate_film(FilmScaleFacts(pixel_spacing=DETECTOR))
    certain = calibrate_film(FilmScaleFacts(detector_spacing=DETECTOR))
    assert found.calibration.source is SpacingSource.ASSUMED
    assert found.calibration.relative_sd > certain.calibration.relative_sd
    assert "does not say whether" in found.warnings[0]


def test_the_assumed_band_holds_five_percent_in_95_percent() -> None:
    calibration = calibrate_film(FilmScaleFacts(detector_spacing=DETECTOR)).calibration
    assert 1.96 * calibration.relative_sd == pytest.approx(0.05)  # reference A.3 (iii)
    assert "5%" in calibration.note


def test_stated_distances_beat_the_assumption() -> None:
    facts = FilmScaleFacts(
        detector_spacing=DETECTOR, source_to_detector_mm=1200, source_to_patient_mm=1050
    )
    calibration = calibrate_film(facts).calibration
    assert calibration.source is SpacingSource.DISTANCES
    assert calibration.magnification == pytest.approx(1.1429, abs=1e-4)


def test_contradicting_magnifications_are_named() -> None:
    facts = FilmScaleFacts(
        detector_spacing=DETECTOR,
        stated_magnification=1.25,
        source_to_detector_mm=1200,
        source_to_patient_mm=1050,
    )
    found = calibrate_film(facts)
    assert found.calibration.magnification == 1.25
    assert "contradicts itself" in found.warnings[0]


@pytest.mark.parametrize("absurd", [0.0, -0.1, 50.0, math.nan, math.inf])
def test_an_absurd_spacing_leaves_the_film_uncalibrated(absurd: float) -> None:
    spacing = Spacing(row_mm=absurd, column_mm=absurd)
    found = calibrate_film(FilmScaleFacts(detector_spacing=spacing))
    assert not found.calibration.is_calibrated
    assert "absurd" in found.warnings[0]


@pytest.mark.parametrize("factor", [0.5, 3.0, -1.2, math.inf])
def test_an_absurd_magnification_is_not_used(factor: float) -> None:
    facts = FilmScaleFacts(detector_spacing=DETECTOR, stated_magnification=factor)
    found = calibrate_film(facts)
    assert found.calibration.source is SpacingSource.ASSUMED
    assert "absurd magnification" in found.warnings[0]


def test_a_magnification_of_one_says_nothing() -> None:
    facts = FilmScaleFacts(detector_spacing=DETECTOR, stated_magnification=1.0)
    assert calibrate_film(facts).calibration.source is SpacingSource.ASSUMED


def test_no_spacing_keeps_the_shape_of_the_pixel() -> None:
    calibration = calibrate_film(FilmScaleFacts(pixel_aspect=1.5)).calibration
    assert not calibration.is_calibrated
    assert calibration.row_mm / calibration.column_mm == 1.5


def test_a_reduced_film_contradicts_its_detector() -> None:
    enlarged = Spacing(row_mm=0.2, column_mm=0.2)
    found = calibrate_film(FilmScaleFacts(pixel_spacing=enlarged, detector_spacing=DETECTOR))
    assert "contradict each other" in found.warnings[0]


def test_slices_are_not_enlarged() -> None:
    calibration = calibrate_slices(Spacing(row_mm=0.7, column_mm=0.8)).calibration
    assert (calibration.row_mm, calibration.column_mm) == (0.7, 0.8)
    assert calibration.relative_sd == 0.0
    assert calibrate_slices(None).warnings


@pytest.mark.parametrize("bad", [0.0, math.nan, 9.0])
def test_a_scale_by_hand_must_fit_a_hip_film(bad: float) -> None:
    with pytest.raises(CalibrationError):
        calibrate_by_hand(bad)


def test_a_marker_needs_a_size() -> None:
    with pytest.raises(CalibrationError, match="diameter"):
        calibrate_from_marker(diameter=mm(25), diameter_px=0)
