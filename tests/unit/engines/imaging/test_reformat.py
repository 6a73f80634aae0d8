"""Planes through volumes and around necks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.volume import Volume
from hipwright.engines.imaging.reformat import (
    OUTSIDE,
    Plane,
    cut_codes,
    cut_values,
    neck_clock,
    radial_plane,
)
from tests.unit.engines.imaging.grids import GRIDS, grid_of, labels_of, ramp

ROUNDING = 0.5 + 1e-9  # int16 values
SLANTED = Plane(
    origin_mm=np.array([-29.013, 13.0071, -137.0113]),
    right_mm=np.array([0.61, 0.12, 0.35]),
    down_mm=np.array([-0.08, 0.55, 0.21]),
    columns=23,
    rows=19,
)


def places_of(plane: Plane) -> np.ndarray:
    columns, rows = np.meshgrid(np.arange(plane.columns), np.arange(plane.rows))
    return plane.to_mm(columns.astype(float), rows.astype(float))


@pytest.mark.parametrize("name", GRIDS)
def test_a_slanted_plane_holds_what_lies_at_its_places_on_every_grid(name: str) -> None:
    grid = grid_of(name)
    cut = cut_values(ramp(grid), SLANTED)
    wanted = places_of(SLANTED) @ np.array([7.0, -11.0, 5.0])
    at = grid.to_indices(places_of(SLANTED))
    within = ((at >= 0) & (at <= np.array(grid.shape) - 1)).all(axis=-1)
    # Values are rounded at the voxels and after mixing.
    np.testing.assert_allclose(cut[within], wanted[within], atol=2 * ROUNDING)
    beyond = ((at < -0.5) | (at > np.array(grid.shape) - 0.5)).any(axis=-1)
    assert (cut[beyond] == OUTSIDE).all()


def test_cutting_equals_the_spline_interpolation_of_scipy_of_first_order() -> None:
    # Reference library: scipy.ndimage.map_coordinates, order 1.
    grid = grid_of("tilted gantry")
    values = np.random.default_rng(5).integers(-1000, 3000, grid.shape).astype(np.int16)
    plane = Plane(
        origin_mm=grid.to_mm(np.array([1.0, 2.0, 3.0])),
        right_mm=np.array([0.31, 0.02, 0.05]),
        down_mm=np.array([-0.02, 0.25, 0.21]),
        columns=9,
        rows=8,
    )
    at = grid.to_indices(places_of(plane))
    inside = ((at >= 0) & (at <= np.array(grid.shape) - 1)).all()
    assert inside
    wanted = map_coordinates(values.astype(float), at.transpose(2, 0, 1), order=1)
    cut = cut_values(Volume(values=values, grid=grid), plane)
    np.testing.assert_allclose(cut, wanted, atol=ROUNDING)
    np.testing.assert_array_equal(
        cut, cut_values.__globals__["_linear"].py_func(values, *in_indices(grid, plane), 8, 9)
    )


def in_indices(grid, plane):  # what the kernels take
    return cut_values.__globals__["_in_indices"](grid, plane)


@pytest.mark.parametrize("name", GRIDS)
def test_labels_on_a_plane_are_those_of_the_nearest_voxel(name: str) -> None:
    grid = grid_of(name)
    labels = labels_of(grid)
    cut = cut_codes(labels, SLANTED)
    nearest = np.floor(grid.to_indices(places_of(SLANTED)) + 0.5).astype(int)
    within = ((nearest >= 0) & (nearest < np.array(grid.shape))).all(axis=-1)
    wanted = np.zeros(cut.shape, np.uint8)
    wanted[within] = labels.codes[tuple(nearest[within].T)]
    np.testing.assert_array_equal(cut, wanted)
    plain = cut_codes.__globals__["_nearest"].py_func
    np.testing.assert_array_equal(
        cut, plain(labels.codes, *in_indices(grid, SLANTED), SLANTED.rows, SLANTED.columns)
    )


RIGHT_HEAD, RIGHT_NECK = np.array([-88.0, 5.0, 2.0]), np.array([-104.0, 1.0, -16.0])
MIRROR = np.array([-1.0, 1.0, 1.0])


@pytest.mark.parametrize("mirror", [np.ones(3), MIRROR], ids=["right", "left"])
def test_twelve_is_up_and_three_in_front_for_either_hip(mirror: np.ndarray) -> None:
    # Hours as on MR: 12 superior, 3 anterior for both hips (Skeletal Radiol 2007,
    # s00256-006-0240-z, as read in the reference's section 0.4).
    clock = neck_clock(RIGHT_HEAD * mirror, RIGHT_NECK * mirror)
    assert clock.toward(12)[2] > 0.5
    assert clock.toward(3)[1] < -0.9
    assert clock.toward(6)[2] < -0.5
    assert clock.toward(9)[1] > 0.9
    for hour in (12, 1.5, 3, 7.25):
        assert abs(clock.toward(hour) @ clock.axis) < 1e-12
    np.testing.assert_allclose(clock.toward(3), -clock.toward(9), atol=1e-12)


@given(st.floats(0.25, 12))
def test_a_left_hips_radial_plane_is_the_mirrored_one_of_its_right_twin(hour: float) -> None:
    right = radial_plane(neck_clock(RIGHT_HEAD, RIGHT_NECK), hour, half_mm=30, step_mm=0.5)
    left = radial_plane(
        neck_clock(RIGHT_HEAD * MIRROR, RIGHT_NECK * MIRROR), hour, half_mm=30, step_mm=0.5
    )
    mirrored = left.to_mm(np.array(left.columns - 1.0 - 7), np.array(11.0)) * MIRROR
    np.testing.assert_allclose(right.to_mm(np.array(7.0), np.array(11.0)), mirrored, atol=1e-9)


def test_the_head_is_in_the_middle_the_axis_across_and_the_hour_up() -> None:
    clock = neck_clock(RIGHT_HEAD, RIGHT_NECK)
    plane = radial_plane(clock, 1.5, half_mm=40, step_mm=0.4)
    assert (plane.columns, plane.rows) == (201, 201)
    middle = np.array(100.0)
    np.testing.assert_allclose(plane.to_mm(middle, middle), RIGHT_HEAD, atol=1e-9)
    toward_up = plane.to_mm(middle, np.array(50.0)) - RIGHT_HEAD
    np.testing.assert_allclose(toward_up, 20.0 * clock.toward(1.5), atol=1e-9)
    assert plane.right_mm[0] > 0  # the patient's left at the right of the picture


def test_a_given_up_and_front_turn_the_hours() -> None:
    plain = neck_clock(RIGHT_HEAD, RIGHT_NECK)
    tilted = neck_clock(
        RIGHT_HEAD, RIGHT_NECK, up=np.array([0.0, -0.5, 1.0]), front=np.array([0.0, -1.0, -0.5])
    )
    assert np.linalg.norm(plain.toward(12) - tilted.toward(12)) > 0.1
    assert tilted.toward(3)[1] < -0.7


@pytest.mark.parametrize(
    ("neck", "words"),
    [
        (RIGHT_HEAD + np.array([0.2, 0.0, 0.0]), "0.2 mm from the middle of the neck"),
        (RIGHT_HEAD - [0.0, 0.0, 25.0], "straight up"),
    ],
)
def test_an_axis_that_is_none_is_refused(neck: np.ndarray, words: str) -> None:
    with pytest.raises(DegenerateGeometryError, match=words):
        neck_clock(RIGHT_HEAD, neck)
