"""The scale set on the picture."""

import math
from typing import Any

import pytest

from hipwright.apps.web.films.calibrating import CalibrationWish, calibrated
from hipwright.domain.errors import CalibrationError, DegenerateGeometryError
from hipwright.domain.study import SpacingSource
from tests.unit.apps.web.films.films_at_hand import pelvis


def wish(**how: Any) -> CalibrationWish:
    return CalibrationWish.model_validate({"how": how})


def test_a_ball_gives_its_diameter_over_its_width() -> None:
    turn = [0.3, 1.7, 2.9, 4.4, 5.8]
    xy = [(500 + 90 * math.cos(a), 700 + 90 * math.sin(a)) for a in turn]
    scale = calibrated(pelvis(), wish(by="ball", xy=xy, diameter_mm=25.0))
    assert scale.column_mm == pytest.approx(25.0 / 180, rel=1e-6)
    assert scale.source is SpacingSource.MARKER


def test_a_ball_on_pixels_that_are_not_square_is_still_a_ball() -> None:
    turn = [0.3, 1.7, 2.9, 4.4, 5.8]
    xy = [(500 + 90 * math.cos(a), 700 + 90 * math.sin(a) / 1.25) for a in turn]
    scale = calibrated(pelvis(row_mm=0.2), wish(by="ball", xy=xy, diameter_mm=25.0))
    assert (scale.column_mm, scale.row_mm) == pytest.approx((25.0 / 180, 1.25 * 25.0 / 180))


def test_two_points_give_their_distance_and_the_shorter_it_is_the_more_doubt() -> None:
    far = calibrated(pelvis(), wish(by="points", xy=[(0, 0), (300, 400)], distance_mm=100.0))
    near = calibrated(pelvis(), wish(by="points", xy=[(0, 0), (30, 40)], distance_mm=10.0))
    assert far.column_mm == near.column_mm == pytest.approx(0.2)
    assert near.relative_sd > far.relative_sd >= 0.02


def test_distances_divide_the_detector_by_the_magnification() -> None:
    how = wish(
        by="distances", detector_mm=0.15, source_to_detector_mm=1200.0, hip_to_detector_mm=150.0
    )
    # 1200 / (1200 - 150) = 1.142857, by hand.
    assert calibrated(pelvis(), how).column_mm == pytest.approx(0.15 / 1.142857, rel=1e-6)


def test_a_scale_can_be_taken_away() -> None:
    assert not calibrated(pelvis(), wish(by="none")).is_calibrated


@pytest.mark.parametrize(
    "how",
    [
        {"by": "points", "xy": [(1, 1)], "distance_mm": 50.0},
        {"by": "points", "xy": [(1, 1), (1, 1)], "distance_mm": 50.0},
        {"by": "points", "xy": [(0, 0), (100, 0)], "distance_mm": 0.0},
        {"by": "points", "xy": [(0, 0), (10, 0)], "distance_mm": 500.0},
        {"by": "ball", "xy": [(0, 0), (10, 0), (5, 9)], "diameter_mm": -1.0},
    ],
)
def test_what_holds_no_scale_is_refused(how: dict[str, Any]) -> None:
    with pytest.raises(CalibrationError):
        calibrated(pelvis(), wish(**how))


def test_a_ball_of_two_clicks_is_refused() -> None:
    with pytest.raises(DegenerateGeometryError):
        calibrated(pelvis(), wish(by="ball", xy=[(0, 0), (10, 0)], diameter_mm=25.0))
