"""Where lines meet outlines."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.engines.geometry.polylines import (
    across_at_height,
    along_line,
    crossings,
    polar,
    thinned,
)

BEND = np.array([[0.0, 10.0], [4.0, 0.0], [0.0, -10.0]])


def test_line_meets_an_outline_where_it_should() -> None:
    origin, direction = np.array([0.0, 5.0]), np.array([2.0, 0.0])
    assert along_line(BEND, origin, direction) == pytest.approx(1.0)  # two units long
    assert across_at_height(BEND, np.array(-5.0)) == pytest.approx(2.0)


def test_only_what_lies_ahead_counts_when_asked() -> None:
    origin, back = np.array([10.0, 5.0]), np.array([1.0, 0.0])
    assert along_line(BEND, origin, back) == pytest.approx(-8.0)
    assert np.isnan(along_line(BEND, origin, back, forward=True))


def test_a_line_that_misses_gives_no_number() -> None:
    assert np.isnan(across_at_height(BEND, np.array(11.0)))


def test_many_outlines_go_at_once() -> None:
    many = np.stack([BEND + np.array([shift, 0.0]) for shift in range(3)])
    assert across_at_height(many, np.zeros(3)) == pytest.approx([4, 5, 6])


def test_crossings_are_found_with_their_turn() -> None:
    found = crossings(np.array([[-5.0, 0.0], [5.0, 0.0]]), np.array([[1.0, -2.0], [1.0, 2.0]]))
    assert found.met.all()
    assert found.places[0, 0] == pytest.approx([1, 0])
    assert found.turn[0, 0] > 0
    apart = crossings(np.array([[-5.0, 0.0], [0.0, 0.0]]), np.array([[1.0, -2.0], [1.0, 2.0]]))
    assert not apart.met.any()


@pytest.mark.parametrize("way", [1, -1])
def test_polar_outline_gives_the_radius_of_a_circle_between_its_vertices(way: int) -> None:
    angles = np.radians([-40.0, -20.0, 0.0, 20.0, 40.0])[::way]
    arc = 30 * np.column_stack([np.sin(angles), np.cos(angles)])
    found = polar(arc, np.zeros(2))
    assert found.at(np.radians([-33.0, 5.0])) == pytest.approx([30, 30])
    assert np.degrees([found.low, found.high]) == pytest.approx([-40, 40])


def test_polar_outline_sorts_what_was_drawn_to_and_fro() -> None:
    angles = np.radians([-40.0, 0.0, -20.0, 40.0, 20.0])
    arc = np.array([30.0, 32, 31, 34, 33])[:, None] * np.column_stack(
        [np.sin(angles), np.cos(angles)]
    )
    assert polar(arc, np.zeros(2)).at(np.radians([10.0])) == pytest.approx([32.5])


@given(st.integers(3, 200), st.floats(0.001, 0.5))
def test_thinning_keeps_the_ends_and_strays_no_farther_than_told(
    count: int, tolerance: float
) -> None:
    angles = np.linspace(0, 2, count)
    arc = 24 * np.column_stack([np.cos(angles), np.sin(angles)])
    kept = thinned(arc, tolerance)
    assert (kept[[0, -1]] == arc[[0, -1]]).all()
    for start, end in pairwise(kept):
        first, last = (int(np.flatnonzero((arc == p).all(axis=1))[0]) for p in (start, end))
        chord = (end - start) / np.linalg.norm(end - start)
        arms = arc[first : last + 1] - start
        off = np.abs(arms[:, 0] * chord[1] - arms[:, 1] * chord[0])
        assert off.max() <= tolerance + 1e-12


def test_thinning_a_straight_line_leaves_its_ends() -> None:
    line = np.column_stack([np.arange(50.0), np.zeros(50)])
    assert len(thinned(line, 0.01)) == 2


def test_thinning_a_closed_outline_keeps_its_shape() -> None:
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    assert (thinned(square, 0.01) == square).all()
