"""The judge itself: distances, sides and gaps of surfaces whose answers are known."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from hipwright.domain.side import Side
from tests.studies.bones_distance import Sheet, scattered
from tests.studies.bones_errors import Spread, _gap, sphere_of_head


def ball(radius: float, center=(0.0, 0.0, 0.0)) -> Sheet:
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=radius)
    mesh.apply_translation(center)
    return Sheet.of(mesh)


def shell(inner: float, outer: float) -> Sheet:
    """A thick cup below z = 0 cut from a hollow ball: a socket with a sharp rim."""
    cup = trimesh.creation.revolve(
        np.array([
            *[(inner * np.sin(a), -inner * np.cos(a)) for a in np.linspace(0, np.pi / 2, 60)],
            *[(outer * np.sin(a), -outer * np.cos(a)) for a in np.linspace(np.pi / 2, 0, 60)],
        ]),
        sections=120,
    )  # fmt: skip
    if cup.volume < 0:
        cup.invert()
    return Sheet.of(cup)


def test_places_are_scattered_evenly_over_the_area() -> None:
    mesh = trimesh.creation.box(extents=(10.0, 10.0, 1.0))
    places, _ = scattered(mesh.vertices, mesh.faces, 20_000)
    share = (np.abs(places[:, 2]) > 0.499999).mean()
    assert share == pytest.approx(200.0 / 240.0, abs=0.01)


def test_distances_of_two_balls_are_the_difference_of_their_radii() -> None:
    one, two = ball(20.0), ball(20.3)
    np.testing.assert_allclose(one.distances(two.places), 0.3, atol=0.02)
    np.testing.assert_allclose(two.distances(one.places), -0.3, atol=0.02)


def test_distances_agree_with_those_of_a_general_purpose_library() -> None:
    mesh = trimesh.creation.cone(radius=8.0, height=20.0)
    points = np.random.default_rng(1).uniform(-15, 25, (200, 3))
    _, expected, _ = trimesh.proximity.closest_point_naive(mesh, points)
    np.testing.assert_allclose(np.abs(Sheet.of(mesh).distances(points)), expected, atol=1e-6)


def test_a_small_folded_triangle_does_not_turn_a_surface_inside_out() -> None:
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=20.0)
    faces = np.array(mesh.faces)
    vertices = np.array(mesh.vertices)
    vertices[0] += 0.4 * (vertices[faces[(faces == 0).any(axis=1)][0]].mean(axis=0) - vertices[0])
    sheet = Sheet.of(trimesh.Trimesh(vertices, faces, process=False))
    outside = 25.0 * ball(1.0).places[:500]
    assert (sheet.distances(outside) > 4.0).all()


def test_winding_numbers_tell_inside_from_outside() -> None:
    cup = shell(22.0, 27.0)
    inside = np.array([[0.0, 0.0, -24.0], [24.0, 0.0, -3.0]])
    outside = np.array([[0.0, 0.0, -10.0], [0.0, 0.0, 5.0], [0.0, 0.0, -29.0]])
    assert cup.are_inside(inside).all()
    assert not cup.are_inside(outside).any()


@pytest.mark.parametrize(("shift", "gap"), [(0.0, 2.0), (-1.5, 0.5)])
def test_the_gap_of_a_ball_in_a_cup_is_known(shift: float, gap: float) -> None:
    found, closed = _gap(ball(20.0, (0.0, 0.0, shift)), shell(22.0, 27.0), np.zeros(3), 20.0)
    assert found == pytest.approx(gap, abs=0.03)
    assert closed == 0.0


def test_a_ball_that_reaches_into_the_cup_closes_the_joint() -> None:
    found, closed = _gap(ball(20.0, (0.0, 0.0, -2.6)), shell(22.0, 27.0), np.zeros(3), 20.0)
    assert found == pytest.approx(-0.6, abs=0.05)
    assert closed > 2.0


def test_the_sphere_of_a_head_is_found_beside_a_bump() -> None:
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=20.0)
    vertices = np.array(mesh.vertices)
    bump = np.linalg.norm(vertices - [14.0, -10.0, 10.0], axis=1) < 7.0
    vertices[bump] *= 1.1
    sheet = Sheet.of(trimesh.Trimesh(vertices, mesh.faces, process=False))
    center, radius = sphere_of_head(sheet, np.array([0.5, 0.4, -0.3]), 19.5, Side.LEFT)
    # Half of the bump, 2 mm high, lies in the region, and a soft L1 fit leans on it a little.
    np.testing.assert_allclose(center, 0.0, atol=0.1)
    assert radius == pytest.approx(20.0, abs=0.1)


def test_a_spread_is_of_absolute_distances() -> None:
    spread = Spread.of(np.array([-1.0, 1.0, -3.0]))
    assert (spread.mean, spread.largest, spread.count) == (5 / 3, 3.0, 3)
    assert Spread.of(np.array([])).count == 0
