"""Fits in space against scipy's general least squares and trimesh's plane."""

from typing import Any

import numpy as np
import pytest
import trimesh
from scipy.optimize import least_squares

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.geometry.spheres import (
    fit_cylinder,
    fit_line,
    fit_plane,
    fit_sphere,
    fit_sphere_robustly,
    radius_about,
    square_to,
)

TOLERANCE_MM = 1e-6  # two solvers of one problem
CENTER = np.array([12.0, -40.0, 700.0])


def cap(rng: np.random.Generator, count: int = 400, noise: float = 0.3) -> np.ndarray:
    directions = rng.normal(size=(count, 3))
    directions = directions[directions[:, 2] > -0.3 * np.linalg.norm(directions, axis=1)]
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    return CENTER + directions * (24.0 + noise * rng.normal(size=(len(directions), 1)))


def test_sphere_fit_agrees_with_scipys_least_squares():
    places = cap(np.random.default_rng(1))
    weights = np.random.default_rng(2).uniform(0.2, 2.0, len(places))

    def off(p: Any) -> Any:
        return np.sqrt(weights) * (np.linalg.norm(places - p[:3], axis=1) - p[3])

    other = least_squares(off, [10.0, -30.0, 690.0, 20.0], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    mine = fit_sphere(places, weights)
    assert mine.center == pytest.approx(other.x[:3], abs=TOLERANCE_MM)
    assert mine.radius == pytest.approx(other.x[3], abs=TOLERANCE_MM)


def test_an_exact_sphere_is_found_exactly():
    fit = fit_sphere(cap(np.random.default_rng(3), noise=0.0))
    assert fit.center == pytest.approx(CENTER, abs=1e-9)
    assert fit.radius == pytest.approx(24.0, abs=1e-9)


def test_a_robust_sphere_is_not_pulled_by_a_bump_on_it():
    places = cap(np.random.default_rng(4), noise=0.05)
    out = (places - CENTER) / np.linalg.norm(places - CENTER, axis=1, keepdims=True)
    bump = out[:, 0] > 0.75
    lifted = places + np.where(bump, 4.0, 0.0)[:, None] * out
    plain = fit_sphere(lifted)
    robust = fit_sphere_robustly(lifted, start=plain, floor=0.05)
    assert np.linalg.norm(plain.center - CENTER) > 0.3
    assert robust.center == pytest.approx(CENTER, abs=0.03)
    assert robust.radius == pytest.approx(24.0, abs=0.03)
    assert not robust.weights[bump].any()


def test_radius_about_a_given_center_is_the_weighted_median_distance():
    places = np.array([[1.0, 0, 0], [0, 2.0, 0], [0, 0, 9.0]])
    assert radius_about(np.zeros(3), places, np.array([1.0, 1.0, 1.0])) == 2.0
    assert radius_about(np.zeros(3), places, np.array([1.0, 1.0, 5.0])) == 9.0


def test_plane_fit_agrees_with_trimesh():
    rng = np.random.default_rng(5)
    places = (
        rng.normal(size=(60, 3))
        * [30.0, 10.0, 0.4]
        @ trimesh.transformations.rotation_matrix(0.7, [1.0, 2.0, -0.5])[:3, :3]
    )
    middle, normal = fit_plane(places)
    other, direction = trimesh.points.plane_fit(places)
    assert middle == pytest.approx(other, abs=1e-9)
    assert abs(normal @ direction) == pytest.approx(1.0, abs=1e-9)


def test_line_fit_agrees_with_trimesh():
    rng = np.random.default_rng(6)
    axis = np.array([0.2, 0.5, 0.84])
    places = rng.uniform(-50, 50, (40, 1)) * axis + 0.3 * rng.normal(size=(40, 3))
    middle, direction = fit_line(places)
    assert abs(direction @ trimesh.points.major_axis(places)) == pytest.approx(1.0, abs=1e-2)
    _, _, rows = np.linalg.svd(places - middle)
    assert abs(direction @ rows[0]) == pytest.approx(1.0, abs=1e-12)
    assert direction[2] > 0


def test_two_places_make_a_line():
    assert fit_line(np.array([[0.0, 0, 0], [0, 0, 5.0]]))[1] == pytest.approx([0, 0, 1])


def test_cylinder_fit_agrees_with_scipys_least_squares():
    rng = np.random.default_rng(7)
    axis = np.array([0.1, -0.25, 0.95])
    axis /= np.linalg.norm(axis)
    one, two = square_to(axis)
    turn = rng.uniform(0, 2 * np.pi, 500)
    places = (
        CENTER
        + rng.uniform(-60, 60, (500, 1)) * axis
        + 14.0 * (np.cos(turn)[:, None] * one + np.sin(turn)[:, None] * two)
        + 0.4 * rng.normal(size=(500, 3))
    )
    point, found, radius = fit_cylinder(places, np.array([0.0, 0.0, 1.0]))

    def off(p: Any) -> Any:
        direction = np.array([p[2], p[3], 1.0])
        across = np.cross(places - [p[0], p[1], CENTER[2]], direction / np.linalg.norm(direction))
        return np.linalg.norm(across, axis=1) - p[4]

    start = [CENTER[0], CENTER[1], 0.0, 0.0, 10.0]
    other = least_squares(off, start, xtol=1e-14, ftol=1e-14, gtol=1e-14).x
    direction = np.array([other[2], other[3], 1.0])
    direction /= np.linalg.norm(direction)
    assert found == pytest.approx(direction, abs=1e-6)
    assert radius == pytest.approx(other[4], abs=1e-6)
    apart = np.cross(point - [other[0], other[1], CENTER[2]], direction)
    assert np.linalg.norm(apart) == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize("fit", [fit_sphere, fit_plane, fit_line])
def test_too_few_places_are_refused(fit: Any):
    with pytest.raises(DegenerateGeometryError, match="at least"):
        fit(np.zeros((1, 3)))


def test_places_that_do_not_spread_are_refused():
    flat = np.random.default_rng(8).normal(size=(30, 3)) * [1.0, 1.0, 0.0]
    along = np.linspace(0, 1, 12)[:, None] * np.array([1.0, 2.0, 3.0])
    with pytest.raises(DegenerateGeometryError, match="sphere"):
        fit_sphere(flat)
    with pytest.raises(DegenerateGeometryError, match="plane"):
        fit_plane(along)
    with pytest.raises(DegenerateGeometryError, match="line"):
        fit_line(np.ones((5, 3)))
    with pytest.raises(DegenerateGeometryError, match="cylinder"):
        fit_cylinder(along, np.array([1.0, 2.0, 3.0]))
