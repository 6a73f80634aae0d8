"""Points know their frame, and points of two studies do not meet."""

import math

import pytest

from hipwright.domain.errors import DegenerateGeometryError, FrameMismatchError
from hipwright.domain.frames import (
    FilmCircle,
    FilmContour,
    FilmPoint,
    Frame,
    FrameKind,
    Point,
    Scale,
    film_hip_point,
    require_one_frame,
)

HERE = Frame(FrameKind.FILM_HIP, "case-7")


def test_a_frame_is_its_kind_and_what_it_is_fixed_to() -> None:
    assert str(Frame(FrameKind.PATIENT_LPS, "case-7")) == "patient_lps(case-7)"
    assert Frame(FrameKind.FILM_HIP, "case-7") != Frame(FrameKind.FILM_HIP, "case-9")
    assert Frame(FrameKind.FILM_HIP, "case-7", Scale.UNCALIBRATED) != HERE


def test_points_of_one_frame_share_it() -> None:
    assert require_one_frame(HERE, HERE, HERE) == HERE


def test_points_of_two_hips_are_refused_with_both_named() -> None:
    with pytest.raises(FrameMismatchError) as caught:
        require_one_frame(HERE, Frame(FrameKind.FILM_HIP, "case-9"))
    assert "case-7" in str(caught.value)
    assert "case-9" in str(caught.value)


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_a_point_without_a_place_is_refused(number: float) -> None:
    with pytest.raises(DegenerateGeometryError, match="finite"):
        FilmPoint(x=0.0, y=number, frame=HERE)
    with pytest.raises(DegenerateGeometryError, match="finite"):
        Point(x=0.0, y=0.0, z=number, frame=HERE)


def test_a_point_of_a_leveled_film_is_lateral_and_superior() -> None:
    point = film_hip_point(lateral=3.0, superior=4.0, hip="case-7")
    assert (point.x, point.y, point.frame) == (3.0, 4.0, HERE)


def test_circles_and_contours_have_the_frame_of_their_points() -> None:
    start, end = (film_hip_point(lateral=u, superior=0.0, hip="case-7") for u in (0.0, 1.0))
    assert FilmCircle(center=start, radius=24.0).frame == HERE
    assert FilmContour(points=(start, end)).frame == HERE


@pytest.mark.parametrize("radius", [0.0, -1.0, math.nan, math.inf])
def test_a_circle_without_a_radius_is_refused(radius: float) -> None:
    with pytest.raises(DegenerateGeometryError, match="positive radius"):
        FilmCircle(center=film_hip_point(lateral=0.0, superior=0.0), radius=radius)


def test_a_contour_of_one_point_or_of_two_hips_is_refused() -> None:
    here = film_hip_point(lateral=0.0, superior=0.0, hip="a")
    with pytest.raises(DegenerateGeometryError, match="two or more"):
        FilmContour(points=(here,))
    with pytest.raises(FrameMismatchError):
        FilmContour(points=(here, film_hip_point(lateral=1.0, superior=0.0, hip="b")))
