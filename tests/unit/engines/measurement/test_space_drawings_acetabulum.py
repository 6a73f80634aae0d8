"""What is drawn on the bone shows the very number: read back from the drawing, it is the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_drawing import DrawnLine, DrawnPoint, SpaceDrawing
from hipwright.engines.measurement.space_drawings_acetabulum import DRAWINGS, drawing_of_socket
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS
from tests.unit.engines.measurement.round_sockets import measured, placed, round_socket

MODULES = ("space_acetabulum", "space_acetabulum_coverage", "space_joint")
READ_BACK = 1e-4  # degrees and mm: the drawing and the kernel use the same places


def whole_hip() -> HipInSpace:
    socket = placed(
        round_socket(notch=(5.3, 6.7)),
        anterior_inferior_iliac_spine=(14.0, 38.0, 34.0),
        anterior_inferior_spine_lower_end=(13.0, 34.0, 28.0),
        opposite_head_center=(-172.0, 3.0, 2.0),
    )
    ends = np.array([[-20.0, -25.0, -60.0], [2.0, -20.0, -55.0]])
    apart = np.array(np.linalg.norm(ends[1] - ends[0]))
    center = np.array([0.3, 0.1, 0.4])
    return HipInSpace(
        femur=None,
        socket=replace(socket, ischiofemoral_ends=ends, ischiofemoral_mm=apart, center=center),
    )


def drawn(definition: str, hour: float | None = None) -> SpaceDrawing:
    found = drawing_of_socket(definition, whole_hip(), hour)
    assert found is not None
    return found


def angle(drawing: SpaceDrawing, one: str, other: str) -> float:
    ways = []
    for name in (one, other):
        (line,) = (line for line in drawing.lines if line.name == name)
        way = line.points_mm[-1] - line.points_mm[0]
        ways.append(way / np.linalg.norm(way))
    return float(np.degrees(np.arccos(np.clip(ways[0] @ ways[1], -1, 1))))


def length(drawing: SpaceDrawing, name: str) -> float:
    (line,) = (line for line in drawing.lines if line.name == name)
    return float(np.linalg.norm(line.points_mm[-1] - line.points_mm[0]))


def test_every_construction_of_socket_and_joint_can_be_drawn():
    bound = {
        name
        for name, construction in SPACE_CONSTRUCTIONS.items()
        if construction.kernel.__module__.rsplit(".", 1)[-1] in MODULES
    }
    assert set(DRAWINGS) == bound
    for name in bound:
        hours = load().measurement(name).hours
        assert drawing_of_socket(name, whole_hip(), hours[0] if hours else None) is not None


@pytest.mark.parametrize(
    ("definition", "one", "other"),
    [
        ("center_edge_angle.lateral_in_space", "straight up", "to the rim"),
        ("center_edge_angle.anterior_in_space", "straight up", "to the rim"),
        ("acetabular_version.equatorial", "from rim to rim", "straight ahead"),
        ("acetabular_version.two_oclock", "from rim to rim", "straight ahead"),
        ("acetabular_version.one_oclock", "from rim to rim", "straight ahead"),
        ("acetabular_version.plane", "the same seen from above", "lateral"),
        ("acetabular_inclination.plane", "way the socket opens", "straight down"),
        ("roof_inclination.in_space", "roof", "level"),
    ],
)
def test_drawn_angle_is_the_measured_one(definition, one, other):
    value = abs(float(measured(definition, whole_hip())))
    assert angle(drawn(definition), one, other) == pytest.approx(value, abs=READ_BACK)


def test_drawn_angle_of_an_hour_is_that_of_the_series():
    hours = load().measurement("center_edge_angle.by_hour").hours
    values = measured("center_edge_angle.by_hour", whole_hip())
    for hour, value in zip(hours, values, strict=True):
        found = angle(drawn("center_edge_angle.by_hour", hour), "axis of the socket", "to the rim")
        # places between two hours lie on the chord, angles are interpolated
        assert found == pytest.approx(value, abs=0.02)


def test_drawn_sectors_are_the_measured_ones():
    both = drawn("horizontal_sector_angle")
    for part in ("anterior", "posterior"):
        name = "to the front rim" if part == "anterior" else "to the back rim"
        value = measured(f"{part}_sector_angle", whole_hip())
        assert angle(both, "line of the heads", name) == pytest.approx(value, abs=READ_BACK)
        alone = drawn(f"{part}_sector_angle")
        assert len(alone.points) == len(both.points) - 1


@pytest.mark.parametrize(
    ("definition", "name"),
    [
        ("joint_congruence", "between the centers"),
        ("anterior_inferior_spine_to_rim", "from spine to rim"),
        ("anterior_inferior_spine_level", "height"),
        ("ischiofemoral_space.in_space", "from ischium to femur"),
        ("joint_space.in_space.minimum", "width of the joint"),
    ],
)
def test_drawn_length_is_the_measured_one(definition, name):
    value = float(measured(definition, whole_hip()))
    assert length(drawn(definition), name) == pytest.approx(value, abs=READ_BACK)


def test_rim_is_drawn_with_its_gap_and_the_cover_on_the_head():
    drawing = drawn("head_coverage.total")
    (rim,) = (line for line in drawing.lines if line.name == "rim")
    (cover,) = (line for line in drawing.lines if line.name == "edge of what is covered")
    steps = np.linalg.norm(np.diff(rim.points_mm, axis=0), axis=1)
    assert steps.max() < 1.5  # never across the notch
    np.testing.assert_allclose(np.linalg.norm(cover.points_mm, axis=1), 23.0)
    names = {line.name for line in drawn("head_coverage.posterosuperior").lines}
    assert {"9 o'clock", "12 o'clock"} <= names
    whole = HipInSpace(femur=None, socket=round_socket())
    around = drawing_of_socket("head_coverage.total", whole)
    assert around is not None
    np.testing.assert_array_equal(around.lines[0].points_mm[0], around.lines[0].points_mm[-1])


def test_what_was_not_measured_is_not_drawn():
    bare = HipInSpace(femur=None, socket=round_socket())
    assert drawing_of_socket("anterior_inferior_spine_level", bare) is None
    assert drawing_of_socket("ischiofemoral_space.in_space", bare) is None
    assert drawing_of_socket("alpha_angle.radial", bare) is None
    assert drawing_of_socket("head_coverage.total", HipInSpace(femur=None, socket=None)) is None
    socket = round_socket()
    no_femur = replace(socket, gap_mm=np.full_like(socket.gap_mm, np.nan))
    empty = HipInSpace(femur=None, socket=no_femur)
    assert drawing_of_socket("joint_space.in_space.minimum", empty) is None
    assert drawing_of_socket("joint_space.in_space.by_hour", empty, 12.0) is None
    nothing = np.full_like(socket.rim, np.nan)
    no_rim = HipInSpace(femur=None, socket=replace(socket, rim=nothing))
    assert drawing_of_socket("acetabular_version.equatorial", no_rim) is None


def test_a_drawing_refuses_places_that_are_not_there():
    with pytest.raises(DegenerateGeometryError, match="cannot draw"):
        SpaceDrawing(points=(DrawnPoint(name="rim", at_mm=np.array([0.0, np.nan, 1.0])),))
    with pytest.raises(DegenerateGeometryError, match="cannot draw"):
        SpaceDrawing(lines=(DrawnLine(name="axis", points_mm=np.zeros((2, 2))),))
