"""The border, the baseline and the clock."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.domain.errors import DegenerateGeometryError, SideError
from hipwright.domain.frames import FrameKind, Scale
from hipwright.domain.quantities import Angle
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, SpacingSource, View
from hipwright.engines.anatomy.canonical import FilmBorder, MidlineBorder, side_named
from hipwright.engines.anatomy.clock import (
    angle_from_hour,
    hour_from_angle,
    hour_from_true_clock_of_left_hip,
)
from hipwright.engines.anatomy.leveling import Baseline, level, rise_rad


def film(
    view: View = View.PELVIS_AP,
    *,
    patient_right_at_image_left: bool = True,
    anterior_at_image_right: bool | None = None,
) -> Film:
    return Film(
        image="a",
        view=view,
        columns=101,
        rows=81,
        calibration=Calibration(column_mm=0.2, row_mm=0.2, source=SpacingSource.MARKER),
        patient_right_at_image_left=patient_right_at_image_left,
        anterior_at_image_right=anterior_at_image_right,
    )


@pytest.mark.parametrize("usual", [True, False])
def test_lateral_is_away_from_the_middle_on_either_side(usual: bool) -> None:
    shown = film(patient_right_at_image_left=usual)
    left = FilmBorder(film=shown, side=Side.LEFT).to_canonical(np.array([1.0, 2.0]))
    right = FilmBorder(film=shown, side=Side.RIGHT).to_canonical(np.array([-1.0, 2.0]))
    assert left == pytest.approx(right)
    assert left[0] == (1.0 if usual else -1.0)
    middle = MidlineBorder(film=shown)
    assert middle.to_canonical(np.array([1.0, 2.0])) == pytest.approx(left)
    assert middle.side is None


@given(roll=st.floats(-1.5, 1.5), x=st.floats(-50, 50), y=st.floats(-50, 50))
def test_there_and_back_through_the_border_is_the_identity(
    roll: float, x: float, y: float
) -> None:
    border = FilmBorder(film=film(), side=Side.RIGHT)
    there = border.to_canonical(np.array([x, y]), roll_rad=roll)
    assert border.from_canonical(there, roll_rad=roll) == pytest.approx([x, y], abs=1e-9)


def test_border_frames_are_of_one_hip_and_know_their_scale() -> None:
    frame = FilmBorder(film=film(), side=Side.LEFT).frame
    assert frame.kind is FrameKind.FILM_HIP
    assert frame.scale is Scale.MM
    assert frame != FilmBorder(film=film(), side=Side.RIGHT).frame


@pytest.mark.parametrize(("right", "direction"), [(True, 1.0), (False, -1.0)])
def test_false_profile_runs_forward(right: bool, direction: float) -> None:
    shown = film(View.FALSE_PROFILE, anterior_at_image_right=right)
    assert FilmBorder(film=shown, side=Side.LEFT).direction == direction


def test_false_profile_without_a_front_is_refused() -> None:
    border = FilmBorder(film=film(View.FALSE_PROFILE), side=Side.LEFT)
    with pytest.raises(SideError, match="front"):
        _ = border.direction


def test_fixed_sides_are_read_from_the_catalog() -> None:
    assert side_named("right") is Side.RIGHT
    assert side_named("") is None


def test_baseline_is_the_heads_then_the_teardrops_then_the_picture() -> None:
    heads = np.array([[-90.0, 0.0]]), np.array([[90.0, 9.0]])
    drops = np.array([[60.0, -40.0]]), np.array([[-60.0, -40.0]])
    by_heads = level(heads, drops, 1)
    assert by_heads.baseline is Baseline.HEAD_CENTERS
    assert np.degrees(by_heads.roll_rad) == pytest.approx(2.8624, abs=1e-4)
    assert by_heads.other_deg == pytest.approx(-2.8624, abs=1e-4)
    assert "differs by -2.9°" in by_heads.in_words()
    assert level(heads, None, 1).in_words() == "line of the head centers"
    assert level(None, drops, 1).baseline is Baseline.TEARDROPS
    picture = level(None, None, 3)
    assert picture.baseline is Baseline.PICTURE
    assert picture.roll_rad.shape == (3,)


def test_rise_does_not_care_which_end_comes_first() -> None:
    one, other = np.array([-3.0, 0.0]), np.array([3.0, 1.0])
    assert rise_rad(one, other) == pytest.approx(rise_rad(other, one))


@given(hour=st.floats(0.01, 12))
def test_hours_and_angles_are_the_same_place(hour: float) -> None:
    assert hour_from_angle(angle_from_hour(hour)) == pytest.approx(hour)


@given(hour=st.floats(0.01, 12))
def test_mirroring_the_clock_twice_is_the_identity(hour: float) -> None:
    once = hour_from_true_clock_of_left_hip(hour)
    assert hour_from_true_clock_of_left_hip(once) == pytest.approx(hour)


def test_clock_is_twelve_above_and_three_in_front() -> None:
    assert hour_from_angle(Angle.from_degrees(0)) == 12
    assert hour_from_angle(Angle.from_degrees(-90)) == 9


@pytest.mark.parametrize("hour", [-1, 12.5, float("nan")])
def test_clock_refuses_hours_that_are_not_on_it(hour: float) -> None:
    with pytest.raises(DegenerateGeometryError, match="clock hour"):
        angle_from_hour(hour)
