"""What is drawn over a film agrees with what is measured on it."""

import math

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.catalog.entries import EntryKind, LandmarkKind
from hipwright.domain.film_marks import ArcMark, LabelMark, LineMark, PointMark, Stroke
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, SpacingSource, View
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.measure import ReadFilm, measure_film, read_film
from hipwright.engines.reporting.film_marks import fitted_circles, marks_for
from hipwright.engines.reporting.recipes import RECIPES

HEADS = {Side.RIGHT: (600.0, 900.0), Side.LEFT: (1800.0, 940.0)}
RADIUS = 150.0
PLACES = {
    "sourcil_lateral_edge": (95, -160),
    "sourcil_medial_edge": (-100, -140),
    "acetabular_rim_lateral": (120, -140),
    "ossicle_lateral_edge": (135, -130),
    "teardrop_inferior": (-190, 170),
    "femoral_neck_superior": (170, 60),
    "femoral_neck_inferior": (70, 180),
    "femoral_neck_base_superior": (260, 150),
    "femoral_neck_base_inferior": (150, 270),
    "alpha_onset": (140, -60),
    "femoral_shaft_proximal": (300, 420),
    "femoral_shaft_distal": (290, 900),
    "physeal_scar_medial": (-60, -40),
    "physeal_scar_lateral": (60, -50),
}


def a_film(*, mirrored: bool = False, row_mm: float = 0.16) -> Film:
    scale = Calibration(column_mm=0.16, row_mm=row_mm, source=SpacingSource.PIXEL_SPACING)
    return Film(
        image="film-1",
        view=View.PELVIS_AP,
        columns=2400,
        rows=2200,
        calibration=scale,
        patient_right_at_image_left=not mirrored,
    )


def a_reading(film: Film, aspect: float = 1.0) -> ReadFilm:
    points: list[PlacedPoint] = []
    contours: list[PlacedContour] = []
    turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    for side, (x, y) in HEADS.items():
        way = 1 if (side is Side.LEFT) == film.patient_right_at_image_left else -1
        ring = np.stack([x + RADIUS * np.cos(turn), y + RADIUS * np.sin(turn) / aspect], axis=-1)
        contours.append(PlacedContour(id="femoral_head", side=side, xy_px=ring))
        line = np.array([[x - way * 220, y - 200 / aspect], [x - way * 200, y + 200 / aspect]])
        contours.append(PlacedContour(id="ilioischial_line", side=side, xy_px=line))
        points += [
            PlacedPoint(id=name, side=side, x_px=x + way * u, y_px=y + v / aspect)
            for name, (u, v) in PLACES.items()
        ]
    landmarks = LandmarkSet(
        image=film.image, observer="human:x", points=tuple(points), contours=tuple(contours)
    )
    return read_film(film, landmarks, catalog=load())


def value_of(read: ReadFilm, border: FilmBorder, definition: str) -> float:
    (found,) = measure_film(read, [border], only={definition})
    assert isinstance(found, Measurement)
    return found.value


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("row_mm", [0.16, 0.2])
@pytest.mark.parametrize(
    "definition",
    [
        "lateral_center_edge_angle.sourcil",
        "lateral_center_edge_angle.rim",
        "roof_angle.tonnis",
        "sharp_angle",
        "alpha_angle.three_point",
        "alpha_angle.anatomic",
        "neck_shaft_angle",
    ],
)
def test_the_drawn_arc_spans_the_measured_angle(
    side: Side, row_mm: float, definition: str
) -> None:
    film = a_film(row_mm=row_mm)
    read = a_reading(film, row_mm / 0.16)
    border = FilmBorder(film=film, side=side)
    marks = marks_for(definition, read, border)
    (arc,) = [mark for mark in marks if isinstance(mark, ArcMark)]
    # Measured on the drawing itself, in mm: from the first to the last arm of the arc.
    first, last = (
        math.atan2((y - arc.center[1]) * row_mm, (x - arc.center[0]) * 0.16)
        for x, y in (arc.xy[0], arc.xy[-1])
    )
    spanned = abs((math.degrees(last - first) + 180) % 360 - 180)
    assert spanned == pytest.approx(abs(value_of(read, border, definition)), abs=1e-6)
    (label,) = [mark for mark in marks if isinstance(mark, LabelMark)]
    assert f"{abs(value_of(read, border, definition)):.1f}" in label.text


def test_used_points_are_drawn_where_they_were_placed_on_a_mirrored_film_too() -> None:
    for mirrored in (False, True):
        film = a_film(mirrored=mirrored)
        read = a_reading(film)
        marks = marks_for("sharp_angle", read, FilmBorder(film=film, side=Side.LEFT))
        for mark in marks:
            if isinstance(mark, PointMark):
                placed = read.landmarks.point(mark.landmark, Side.LEFT)
                assert placed is not None
                assert mark.at == pytest.approx((placed.x_px, placed.y_px), abs=1e-6)


def test_the_baseline_of_a_center_edge_angle_runs_along_the_head_centers() -> None:
    film = a_film()
    marks = marks_for(
        "lateral_center_edge_angle.sourcil",
        a_reading(film),
        FilmBorder(film=film, side=Side.LEFT),
    )
    (line,) = [m for m in marks if isinstance(m, LineMark) and m.stroke is Stroke.BASELINE]
    (x1, y1), (x2, y2) = line.xy
    slope = (HEADS[Side.LEFT][1] - HEADS[Side.RIGHT][1]) / 1200
    assert (y2 - y1) / (x2 - x1) == pytest.approx(slope, abs=1e-9)


def test_the_fitted_circle_goes_through_the_clicks_on_pixels_that_are_not_square() -> None:
    film = a_film(row_mm=0.2)
    circle = fitted_circles(a_reading(film, 1.25))["femoral_head", Side.LEFT]
    x, y = np.array(circle.xy).T
    radii = np.hypot(x - HEADS[Side.LEFT][0], (y - HEADS[Side.LEFT][1]) * 1.25)
    assert radii == pytest.approx(RADIUS, abs=1e-6)


def computed_ids() -> list[str]:
    entries = load().measurements.values()
    return [e.id for e in entries if e.kind is not EntryKind.GRADED and not e.is_in_space]


@pytest.mark.parametrize("definition", computed_ids())
def test_every_measurement_can_be_drawn_with_nothing_placed(definition: str) -> None:
    film = a_film()
    empty = LandmarkSet(image=film.image, observer="human:x")
    read = read_film(film, empty, catalog=load())
    assert marks_for(definition, read, FilmBorder(film=film, side=Side.LEFT)) == ()


@pytest.mark.parametrize("definition", computed_ids())
def test_a_measurement_has_one_label_where_it_is_possible_and_none_elsewhere(
    definition: str,
) -> None:
    film = a_film()
    read = a_reading(film)
    border = FilmBorder(film=film, side=Side.RIGHT)
    found = measure_film(read, [border], only={definition})
    possible = [f for f in found if isinstance(f, Measurement)]
    labels = [m for m in marks_for(definition, read, border) if isinstance(m, LabelMark)]
    assert len(labels) == len(possible)


def test_every_recipe_belongs_to_an_entry_and_asks_only_for_its_landmarks() -> None:
    catalog = load()
    assert set(RECIPES) <= set(catalog.measurements)
    kinds = {LandmarkKind.POINT, LandmarkKind.CIRCLE, LandmarkKind.CONTOUR}
    assert {entry.kind for entry in catalog.landmarks.values()} <= kinds
