"""What a reader places: points and contours, each once a side."""

import math

import numpy as np
import pytest

from hipwright.domain.errors import LandmarkError
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side


def point(
    x_px: float = 1.0, *, name: str = "alpha_onset", side: Side | None = Side.LEFT
) -> PlacedPoint:
    return PlacedPoint(id=name, side=side, x_px=x_px, y_px=2.0)


def contour(*xy: tuple[float, float], side: Side = Side.LEFT) -> PlacedContour:
    return PlacedContour(id="femoral_head", side=side, xy_px=np.array(xy))


def landmarks(*points: PlacedPoint, contours: tuple[PlacedContour, ...] = ()) -> LandmarkSet:
    return LandmarkSet(image="film", observer="human:x", points=points, contours=contours)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_point_without_a_place_is_refused_by_name(number: float) -> None:
    with pytest.raises(LandmarkError, match="alpha_onset") as caught:
        point(number)
    assert caught.value.field == "alpha_onset"


@pytest.mark.parametrize("sd", [-1.0, math.nan, math.inf])
def test_a_spread_below_zero_or_without_end_is_refused(sd: float) -> None:
    with pytest.raises(LandmarkError, match="zero or more"):
        PlacedPoint(id="alpha_onset", side=Side.LEFT, x_px=0.0, y_px=0.0, sd_px=sd)


@pytest.mark.parametrize("xy", [np.zeros(4), np.zeros((2, 3)), np.array([[0.0, math.nan]])])
def test_an_outline_that_is_no_list_of_places_is_refused(xy: np.ndarray) -> None:
    with pytest.raises(LandmarkError, match="pairs of column and row"):
        PlacedContour(id="femoral_head", side=Side.LEFT, xy_px=xy)


def test_an_outline_is_a_copy_that_nobody_can_change() -> None:
    drawn = np.array([[1.0, 2.0], [3.0, 4.0]])
    kept = PlacedContour(id="femoral_head", side=Side.LEFT, xy_px=drawn)
    drawn[0, 0] = 99.0
    assert kept.xy_px[0, 0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        kept.xy_px[0, 0] = 5.0


def test_equal_outlines_are_equal_and_have_one_hash() -> None:
    zero, negative = contour((0.0, 1.0), (2.0, 3.0)), contour((-0.0, 1.0), (2.0, 3.0))
    assert zero == negative
    assert hash(zero) == hash(negative)
    assert zero != contour((0.0, 1.0), (2.0, 4.0))
    assert zero != contour((0.0, 1.0), (2.0, 3.0), side=Side.RIGHT)
    assert zero != "an outline"


def test_a_landmark_twice_on_one_side_is_refused_by_name() -> None:
    landmarks(point(), point(side=Side.RIGHT))  # once a side is right
    with pytest.raises(LandmarkError, match="alpha_onset of the left twice"):
        landmarks(point(), point(5.0))
    with pytest.raises(LandmarkError, match="coccyx_tip of the midline twice"):
        landmarks(point(name="coccyx_tip", side=None), point(name="coccyx_tip", side=None))


def test_readings_are_numbered_from_1() -> None:
    with pytest.raises(LandmarkError, match="reading 0"):
        LandmarkSet(image="film", observer="human:x", reading=0)


def test_landmarks_are_found_by_id_and_side() -> None:
    head = contour((0.0, 0.0), (1.0, 1.0))
    placed = landmarks(point(), contours=(head,))
    assert placed.point("alpha_onset", Side.LEFT) == point()
    assert placed.point("alpha_onset", Side.RIGHT) is None
    assert placed.contour("femoral_head", Side.LEFT) is head
    assert placed.contour("femoral_head", None) is None
    assert list(placed) == [point(), head]


def test_replacing_takes_the_place_of_the_same_id_and_side_only() -> None:
    head, moved = contour((0.0, 0.0), (1.0, 1.0)), contour((5.0, 5.0), (6.0, 6.0))
    other = point(7.0, side=Side.RIGHT)
    placed = landmarks(point(), other, contours=(head,))
    changed = placed.replacing([point(9.0), moved])
    assert changed.point("alpha_onset", Side.LEFT) == point(9.0)
    assert changed.point("alpha_onset", Side.RIGHT) == other
    assert changed.contours == (moved,)
    assert (changed.image, changed.observer, changed.reading) == ("film", "human:x", 1)
    assert placed.point("alpha_onset", Side.LEFT) == point()
