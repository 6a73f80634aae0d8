"""A film from the CT at the geometry of the real one."""

from dataclasses import replace

import numpy as np
import pytest

from hipwright.domain.errors import CalibrationError, VolumeError
from hipwright.domain.keeping import Image, ImageKind, Laterality, Reading
from hipwright.domain.landmarks import LandmarkSet, PlacedContour
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Posture, SpacingSource, View
from hipwright.workflows.film_from_ct import Head, place_film, trace_film
from tests.bones_house import MADE_AT, head_center, water_and_heads


def head(side: Side) -> Head:
    x, y, z = (float(part) for part in head_center(side))
    return Head(center_mm=(x, y, z), radius_mm=24.0)


HEADS = {side: head(side) for side in Side}
PIXELS = {Side.RIGHT: (330.0, 500.0), Side.LEFT: (870.0, 512.0)}
RADIUS_PX = 72.0


def film(view: View = View.PELVIS_AP, **changes) -> Image:
    given = Image(
        id="film", study="s", person="p", kind=ImageKind.FILM, modality="DX", view=view,
        laterality=Laterality.BOTH if view is View.PELVIS_AP else Laterality.LEFT,
        posture=Posture.STANDING,
        calibration=Calibration(
            column_mm=0.33, row_mm=0.33, source=SpacingSource.ASSUMED, magnification=1.2
        ),
        columns=1200, rows=1000, files=("0" * 64,), acquired_on=None,
    )  # fmt: skip
    return replace(given, **changes)


def reading(*sides: Side, mirrored: bool = False) -> Reading:
    turn = np.linspace(0, 2 * np.pi, 9)[:-1]
    contours = []
    for side in sides:
        x, y = PIXELS[side]
        x = 1199 - x if mirrored else x
        around = np.column_stack([x + RADIUS_PX * np.cos(turn), y + RADIUS_PX * np.sin(turn)])
        contours.append(PlacedContour(id="femoral_head", side=side, xy_px=around))
    marks = LandmarkSet(
        image="film", observer="human:AB", reading=1, points=(), contours=tuple(contours)
    )
    return Reading(id="r", case="c", landmarks=marks, version=1, saved_at=MADE_AT)


def test_both_heads_align_the_film_and_give_its_scale():
    placed = place_film(film(), reading(*Side), HEADS)
    for side, (x, y) in PIXELS.items():
        found = placed.beam.project(np.array(HEADS[side].center_mm))
        assert found == pytest.approx((x, y), abs=1.0)
    assert any("both heads" in note for note in placed.notes)
    assert any("magnification" in note for note in placed.notes)


def test_the_heads_of_the_made_film_lie_where_the_reader_placed_them():
    made = trace_film([water_and_heads()], place_film(film(), reading(*Side), HEADS))
    step = 1200 // made.water_mm.shape[1]
    for x, y in PIXELS.values():
        row, column = round(y / step), round(x / step)
        here = made.water_mm[row - 5 : row + 6, column - 5 : column + 6].mean()
        beside = made.water_mm[row - 5 : row + 6, column + 60 : column + 70].mean()
        assert here > beside + 20  # two centimeters of water more: the ball is 900 HU


def test_a_mirrored_film_is_made_mirrored():
    usual = trace_film([water_and_heads()], place_film(film(), reading(*Side), HEADS))
    shown = film(patient_right_at_image_left=False)
    placed = place_film(shown, reading(*Side, mirrored=True), HEADS)
    made = trace_film([water_and_heads()], placed)
    np.testing.assert_allclose(made.water_mm[:, ::-1], usual.water_mm, atol=0.5)


def test_one_head_aligns_a_false_profile_by_its_size():
    shown = film(View.FALSE_PROFILE, anterior_at_image_right=True)
    placed = place_film(shown, reading(Side.LEFT), HEADS)
    found = placed.beam.project(np.array(HEADS[Side.LEFT].center_mm))
    assert found == pytest.approx(PIXELS[Side.LEFT], abs=0.1)
    assert not placed.mirrored
    assert any("65°" in note for note in placed.notes)
    other = replace(shown, anterior_at_image_right=False)
    assert place_film(other, reading(Side.LEFT), HEADS).mirrored


def test_an_unread_film_is_made_in_its_middle_at_its_own_scale():
    placed = place_film(film(), None, HEADS)
    middle = np.mean([head.center_mm for head in HEADS.values()], axis=0)
    assert placed.beam.project(middle) == pytest.approx((599.5, 499.5), abs=1e-6)
    assert any("has not been read" in note for note in placed.notes)


def test_a_film_without_magnification_says_that_its_distance_is_a_judgment():
    scale = Calibration(column_mm=0.33, row_mm=0.33, source=SpacingSource.BY_HAND)
    placed = place_film(film(calibration=scale), reading(*Side), HEADS)
    assert any("judgment" in note for note in placed.notes)


def test_an_unread_film_without_scale_is_refused():
    with pytest.raises(CalibrationError, match="a scale, or the heads placed"):
        place_film(film(calibration=Calibration.uncalibrated()), None, HEADS)


@pytest.mark.parametrize("view", [View.DUNN_45, View.LATERAL_OTHER, View.OTHER, View.CT])
def test_views_that_a_ct_cannot_give_are_refused(view: View):
    with pytest.raises(CalibrationError, match="cannot make the"):
        place_film(film(view), reading(*Side), HEADS)


def test_no_slices_make_no_film():
    with pytest.raises(VolumeError, match="no slices"):
        trace_film([], place_film(film(), reading(*Side), HEADS))
