"""Fields on graded grids: distances, depths, cutting and joining, closed surfaces."""

import numpy as np
import pytest
import trimesh

from hipwright.phantoms.implicit import (
    Ball,
    capsule_field,
    common,
    depths,
    even_grid,
    field_of,
    graded_grid,
    graded_planes,
    sample,
    surface_of,
    union,
    without,
)
from hipwright.phantoms.surfaces import TriangleSurface

BAND_MM = 3.0
ROUNDING_MM = 2e-5  # fields are kept in single precision

BOX = trimesh.creation.box(extents=(14.0, 9.0, 11.0))


def surface(mesh: trimesh.Trimesh) -> TriangleSurface:
    return TriangleSurface(vertices=mesh.vertices, faces=mesh.faces)


def graded(points, steps=(0.5, 1.3)):
    return graded_grid(points, center=np.array([3.0, 1.0, 0.0]), reach=4.0, steps=steps)


def box_distance(points):
    """Exact signed distance to the box, in plain numpy."""
    q = np.abs(points) - np.array([7.0, 4.5, 5.5])
    outside = np.linalg.norm(np.maximum(q, 0.0), axis=-1)
    return outside + np.minimum(q.max(axis=-1), 0.0)


def ball_field(grid, center, radius):
    return (np.linalg.norm(grid.points() - center, axis=-1) - radius).astype(np.float32)


def test_the_field_of_a_box_is_its_distance_within_the_band():
    grid = graded(np.asarray(BOX.vertices))
    exact = np.clip(box_distance(grid.points()), -BAND_MM, BAND_MM)
    np.testing.assert_allclose(field_of(surface(BOX), grid, band=BAND_MM), exact, atol=ROUNDING_MM)


def test_inside_is_told_by_winding_for_a_body_with_a_hole():
    torus = trimesh.creation.torus(6.0, 2.0, major_sections=48, minor_sections=24)
    grid = even_grid(np.asarray(torus.vertices), step=0.7)
    points = grid.points()
    exact = np.hypot(np.hypot(points[..., 0], points[..., 1]) - 6.0, points[..., 2]) - 2.0
    field = field_of(surface(torus), grid, band=BAND_MM)
    clear = np.abs(exact) > 0.1  # the torus is made of flat faces
    np.testing.assert_array_equal(field[clear] < 0, exact[clear] < 0)


def test_planes_are_close_in_the_fine_stretch_and_grow_apart_outside():
    planes = graded_planes(-40.0, 50.0, (-5.0, 5.0), (0.5, 2.0))
    gaps = np.diff(planes)
    assert planes[0] <= -40.0
    assert planes[-1] >= 50.0
    fine = (planes[:-1] > -5.01) & (planes[1:] < 5.01)
    np.testing.assert_allclose(gaps[fine], 0.5)
    assert gaps.max() == pytest.approx(2.0)
    assert (np.abs(np.diff(gaps)) < 0.3).all()


def test_a_surface_read_off_a_graded_grid_is_closed_and_lies_on_the_sphere():
    center, radius = np.array([1.0, -2.0, 0.5]), 12.0
    points = np.array([center - radius, center + radius])
    grid = graded_grid(points, center=center + 6.0, reach=5.0, steps=(0.6, 1.6))
    ball = surface_of(ball_field(grid, center, radius), grid, tolerance=0.02)
    assert ball.is_closed
    assert ball.volume_mm3 == pytest.approx(4 / 3 * np.pi * radius**3, rel=0.01)
    off = np.linalg.norm(ball.vertices - center, axis=1) - radius
    assert np.abs(off).max() < 0.05  # h²/(8 r) of linear interpolation, plus the tolerance


def test_a_body_that_reaches_the_end_of_the_grid_is_closed_there():
    grid = even_grid(np.array([[-3.0, -3.0, -3.0], [3.0, 3.0, 3.0]]), step=0.5, margin=0.0)
    assert surface_of(ball_field(grid, np.zeros(3), 5.0), grid).is_closed


def test_fairing_spares_the_ball_it_is_told_to_spare():
    grid = even_grid(np.array([[-8.0, -8.0, -8.0], [8.0, 8.0, 8.0]]), step=0.7)
    ball = ball_field(grid, np.zeros(3), 7.0)
    plain = surface_of(ball, grid)
    faired = surface_of(ball, grid, exact=Ball(center=np.array([7.0, 0.0, 0.0]), radius=5.0))
    order = np.lexsort(plain.vertices.T), np.lexsort(faired.vertices.T)
    near_plain = plain.vertices[np.linalg.norm(plain.vertices - [7.0, 0, 0], axis=1) < 4.9]
    near_faired = faired.vertices[np.linalg.norm(faired.vertices - [7.0, 0, 0], axis=1) < 4.9]
    assert len(order[0]) == len(order[1])
    np.testing.assert_allclose(
        near_plain[np.lexsort(near_plain.T)], near_faired[np.lexsort(near_faired.T)], atol=1e-5
    )
    assert faired.volume_mm3 == pytest.approx(plain.volume_mm3, rel=0.005)


def test_joining_cutting_and_sharing_are_what_they_say():
    grid = even_grid(np.array([[-9.0, -6.0, -6.0], [9.0, 6.0, 6.0]]), step=0.6)
    left = ball_field(grid, np.array([-3.0, 0, 0]), 5.0)
    right = ball_field(grid, np.array([3.0, 0, 0]), 5.0)
    np.testing.assert_array_equal(union(left, right) < 0, (left < 0) | (right < 0))
    np.testing.assert_array_equal(common(left, right) < 0, (left < 0) & (right < 0))
    np.testing.assert_array_equal(without(left, right) < 0, (left < 0) & (right > 0))


def test_a_fillet_adds_bone_in_the_corner_only():
    grid = even_grid(np.array([[-9.0, -6.0, -6.0], [9.0, 6.0, 6.0]]), step=0.6)
    left = ball_field(grid, np.array([-3.0, 0, 0]), 5.0)
    right = ball_field(grid, np.array([3.0, 0, 0]), 5.0)
    sharp, soft = union(left, right), union(left, right, 2.0)
    assert (soft <= sharp + ROUNDING_MM).all()
    far = np.abs(left - right) > 2.0
    np.testing.assert_allclose(soft[far], sharp[far], atol=ROUNDING_MM)
    assert 0.4 < (sharp - soft).max() <= 0.5 + ROUNDING_MM  # a quarter of the blend, in the seam


def test_depths_are_distances_below_the_surface_also_after_a_cut():
    grid = graded_grid(
        np.array([[-10.0] * 3, [10.0] * 3]),
        center=np.array([4.0, 0, 0]),
        reach=4.0,
        steps=(0.5, 1.0),
    )
    body = ball_field(grid, np.zeros(3), 9.0) * 0.5  # a field whose slope is not one
    deep = depths(body, grid, deepest=6.0)
    exact = np.linalg.norm(grid.points(), axis=-1) - 9.0
    inner = (exact < -1.0) & (exact > -5.5)
    first_order_mm = 0.35  # half the spacing at 1 mm, less where planes are close
    assert np.abs(deep[inner] - exact[inner]).max() < first_order_mm
    assert deep.min() >= -6.0


def test_a_rod_with_round_ends_has_its_exact_distance():
    start, end, radius = np.array([-2.0, 0.0, 1.0]), np.array([3.0, 1.0, -1.0]), 1.5
    grid = even_grid(np.array([start, end]), step=0.8, margin=4.0)
    points = grid.points()
    share = np.clip(((points - start) @ (end - start)) / ((end - start) @ (end - start)), 0, 1)
    exact = np.linalg.norm(points - start - share[..., None] * (end - start), axis=-1) - radius
    np.testing.assert_allclose(capsule_field(grid, start, end, radius), exact, atol=ROUNDING_MM)


def test_a_field_is_sampled_linearly_between_uneven_planes():
    grid = graded(np.array([[-8.0] * 3, [8.0] * 3]))
    points = grid.points()
    plane = (0.3 * points[..., 0] - 0.7 * points[..., 1] + 0.2 * points[..., 2]).astype(np.float32)
    at = np.random.default_rng(7).uniform(-7.0, 7.0, (200, 3))
    np.testing.assert_allclose(sample(plane, grid, at), at @ np.array([0.3, -0.7, 0.2]), atol=1e-5)
