"""What is drawn on outlines is what is measured there: same places, same distances."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from hipwright.catalog import load
from hipwright.domain.film_marks import ArcMark, LineMark, Mark, Stroke
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, SpacingSource, View
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.measure import ReadFilm, measure_film, read_film
from hipwright.engines.reporting.film_marks import marks_for
from hipwright.engines.reporting.recipes import RECIPES

COLUMN_MM, ROW_MM = 0.16, 0.2
HEADS = {Side.RIGHT: (600.0, 900.0), Side.LEFT: (1800.0, 925.0)}
RADIUS = 24.0
Floats = NDArray[np.float64]
Outline = list[tuple[float, float]]


def around(radius: float, *degrees: float, up: float = 0.0, aside: float = 0.0) -> Outline:
    """Places on an arc, degrees from straight up toward lateral, mm from the head's center."""
    turns = np.radians(degrees)
    return [(aside + radius * math.sin(t), up + radius * math.cos(t)) for t in turns]


POINTS: dict[str, tuple[float, float]] = {
    "acetabular_rim_lateral": (19.0, 22.0),
    "sourcil_lateral_edge": (16.0, 23.0),
    "sourcil_medial_edge": (-14.0, 24.5),
    "ischial_spine_tip": (-47.0, -20.0),
    "femoral_neck_superior": (31.0, -4.0),
    "femoral_neck_inferior": (11.0, -29.0),
    "femoral_neck_base_superior": (44.0, -18.0),
    "femoral_neck_base_inferior": (22.0, -46.0),
    "femoral_shaft_proximal": (48.0, -70.0),
    "femoral_shaft_distal": (43.0, -140.0),
    "obturator_foramen_medial": (-60.0, -50.0),
    "obturator_foramen_lateral": (-28.0, -44.0),
}
OUTLINES: dict[str, Outline] = {
    "ilioischial_line": [(-33.0, 35.0), (-30.5, -5.0), (-31.0, -40.0)],
    "fossa_floor": [(-24.0, 12.0), (-29.0, 3.0), (-28.0, -9.0)],
    "anterior_rim": [(17.0, 21.0), (14.0, 8.0), (-6.0, -6.0), (-16.0, -16.0)],
    "posterior_rim": [(17.5, 20.5), (7.0, 9.0), (-3.0, -4.0), (4.0, -24.0)],
    "pelvic_brim": [(-36.0, 30.0), (-43.0, -10.0), (-45.0, -45.0)],
    "acetabular_roof": around(28.5, -40, -25, -5, 15, 38, up=0.6),
    "femoral_head_roof": around(24.3, -45, -20, 0, 20, 45, aside=0.5),
    "shenton_neck_arc": around(38.0, 52, 45, 38, up=-78, aside=-18),
    "shenton_obturator_arc": around(38.0, -30, -10, 0, 10, up=-82, aside=-18),
    "head_neck_contour": [*around(24.0, 0, 15, 30, 45, 60), (29.0, 4.0), (31.0, -4.0)],
}
MIDLINE: dict[str, tuple[float, float]] = {
    "coccyx_tip": (1215.0, 1010.0),
    "symphysis_superior": (1203.0, 1160.0),
    "sacrococcygeal_joint": (1190.0, 860.0),
    "mid_sacrum": (1188.0, 700.0),
}
ON_OUTLINES = {
    "head_lateralization": ["ilioischial_line"],
    "protrusio": ["ilioischial_line"],
    "coxa_profunda": ["fossa_floor", "ilioischial_line"],
    "posterior_wall_sign": ["posterior_rim"],
    "ischial_spine_sign": ["pelvic_brim"],
    "anterior_wall_index": ["anterior_rim"],
    "posterior_wall_index": ["posterior_rim"],
    "triangular_index": ["head_neck_contour"],
    "joint_space.apical": [],
    "joint_space.lateral": [],
    "joint_space.medial": [],
    "joint_space.minimum": [],
    "shenton_step": [],
}
"""Measured distances, and the outlines on which an end of each must lie. The joint space
follows its outlines round between their points, the Shenton line its circle."""

SHARES = {"anterior_wall_index": RADIUS, "posterior_wall_index": RADIUS}


def a_reading(*, tilted_px: float = 0.0, posterior_rim: Outline | None = None) -> ReadFilm:
    """Both hips; the patient's left one lies so much deeper on the film."""
    film = Film(
        image="film-1",
        view=View.PELVIS_AP,
        columns=2400,
        rows=2400,
        calibration=Calibration(
            column_mm=COLUMN_MM, row_mm=ROW_MM, source=SpacingSource.PIXEL_SPACING
        ),
        patient_right_at_image_left=True,
    )
    outlines = OUTLINES | {"posterior_rim": posterior_rim or OUTLINES["posterior_rim"]}
    ring = around(RADIUS, *range(0, 360, 30))
    points: list[PlacedPoint] = []
    contours: list[PlacedContour] = []
    for side, (x, y) in HEADS.items():
        way = 1 if side is Side.LEFT else -1
        down = tilted_px if side is Side.LEFT else 0.0
        scale = np.array([way / COLUMN_MM, -1 / ROW_MM])
        for name, place in POINTS.items():
            at = scale * place + (x, y + down)
            points.append(PlacedPoint(id=name, side=side, x_px=at[0], y_px=at[1]))
        for name, outline in {"femoral_head": ring, **outlines}.items():
            xy = scale * np.array(outline) + (x, y + down)
            contours.append(PlacedContour(id=name, side=side, xy_px=xy))
    points += [PlacedPoint(id=n, side=None, x_px=x, y_px=y) for n, (x, y) in MIDLINE.items()]
    landmarks = LandmarkSet(
        image="film-1", observer="human:x", points=tuple(points), contours=tuple(contours)
    )
    return read_film(film, landmarks, catalog=load())


def value_of(read: ReadFilm, side: Side, definition: str) -> float:
    border = FilmBorder(film=read.film, side=side)
    (found,) = measure_film(read, [border], only={definition})
    assert isinstance(found, Measurement), found
    return found.value


def drawn(read: ReadFilm, side: Side, definition: str) -> tuple[Mark, ...]:
    return marks_for(definition, read, FilmBorder(film=read.film, side=side))


def in_mm(xy: tuple[tuple[float, float], ...]) -> Floats:
    return np.array(xy) * (COLUMN_MM, ROW_MM)


def length(line: LineMark) -> float:
    first, last = in_mm(line.xy)
    return math.dist(first, last)


def the_gap(marks: tuple[Mark, ...]) -> LineMark:
    """The solid line between two strokes, which come before it."""
    solid = [m for m in marks if isinstance(m, LineMark) and m.stroke is Stroke.MEASURE]
    first, second, gap = solid[-3:]
    assert length(first) == pytest.approx(length(second))
    ends = in_mm(gap.xy)
    for stroke, end in zip((first, second), ends, strict=True):
        assert in_mm(stroke.xy).mean(axis=0) == pytest.approx(end, abs=1e-6)
    return gap


def away(place: Floats, outline: Floats) -> float:
    """Distance of a place from a polyline."""
    start, run = outline[:-1], np.diff(outline, axis=0)
    share = np.clip(((place - start) * run).sum(axis=1) / (run**2).sum(axis=1), 0, 1)
    return float(np.hypot(*(place - start - share[:, None] * run).T).min())


@pytest.mark.parametrize("tilted_px", [0.0, 40.0])
@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("definition", ON_OUTLINES)
def test_the_drawn_distance_is_the_measured_one_and_ends_on_the_outline(
    definition: str, side: Side, tilted_px: float
) -> None:
    read = a_reading(tilted_px=tilted_px)
    gap = the_gap(drawn(read, side, definition))
    measured = abs(value_of(read, side, definition)) * SHARES.get(definition, 1.0)
    assert length(gap) == pytest.approx(measured, abs=1e-6)
    for outline in ON_OUTLINES[definition]:
        (placed,) = [c for c in read.landmarks.contours if c.id == outline and c.side is side]
        ends = in_mm(gap.xy)
        xy = placed.xy_px * (COLUMN_MM, ROW_MM)
        assert min(away(end, xy) for end in ends) < 1e-6


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize(
    "posterior_rim",
    [
        None,
        [(17.5, 20.5), (10.0, 0.0), (-14.0, -24.0)],
        [(20.0, 22.0), (18.0, 0.0), (10.0, -24.0)],
    ],
    ids=["crossing", "crossing lower", "not crossing"],
)
def test_the_retroversion_is_drawn_as_a_share_of_the_whole_rim(
    posterior_rim: Outline | None, side: Side
) -> None:
    read = a_reading(posterior_rim=posterior_rim)
    lines = [m for m in drawn(read, side, "retroversion_index") if isinstance(m, LineMark)]
    (whole,) = [line for line in lines if line.stroke is Stroke.FAINT]
    parts = [line for line in lines if line.stroke is Stroke.MEASURE]
    share = 100 * sum(length(part) for part in parts) / length(whole)
    assert share == pytest.approx(value_of(read, side, "retroversion_index"), abs=1e-6)


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize(
    "definition",
    [*(name for name in RECIPES if ".departure_" in name), "femoral_shaft_adduction"],
)
def test_the_drawn_arc_spans_the_measured_angle(definition: str, side: Side) -> None:
    read = a_reading(tilted_px=40.0)
    (arc,) = [m for m in drawn(read, side, definition) if isinstance(m, ArcMark)]
    center = np.array(arc.center) * (COLUMN_MM, ROW_MM)
    first, last = (math.atan2(*(place - center)[::-1]) for place in in_mm(arc.xy)[[0, -1]])
    spanned = abs((math.degrees(last - first) + 180) % 360 - 180)
    assert spanned == pytest.approx(abs(value_of(read, side, definition)), abs=1e-6)


@pytest.mark.parametrize(
    "definition",
    [
        "pelvic_tilt.coccyx_symphysis",
        "pelvic_tilt.sacrococcygeal_symphysis",
        "pelvic_rotation.coccyx_offset",
        "pelvic_rotation.sacrum_offset",
    ],
)
def test_distances_of_the_midline_are_drawn_as_measured(definition: str) -> None:
    read = a_reading(tilted_px=40.0)
    found = measure_film(read, [FilmBorder(film=read.film, side=Side.LEFT)], only={definition})
    (measured,) = [f for f in found if isinstance(f, Measurement)]
    marks = drawn(read, Side.LEFT, definition)
    (line,) = [m for m in marks if isinstance(m, LineMark) and m.stroke is Stroke.MEASURE]
    assert length(line) == pytest.approx(abs(measured.value), abs=1e-6)


def test_the_circle_of_the_shenton_line_runs_through_both_parts() -> None:
    read = a_reading()
    marks = drawn(read, Side.LEFT, "shenton_step")
    whole, lifted = [m for m in marks if isinstance(m, LineMark) and m.stroke is Stroke.FAINT]
    for name, arc in (("shenton_obturator_arc", whole), ("shenton_neck_arc", lifted)):
        (placed,) = [c for c in read.landmarks.contours if c.id == name and c.side is Side.LEFT]
        for place in placed.xy_px * (COLUMN_MM, ROW_MM):
            assert away(place, in_mm(arc.xy)) < 0.02  # chords of an arc of 38 mm
