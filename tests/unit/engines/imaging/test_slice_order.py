"""Slices in the order of the body."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.imaging.slice_order import slice_normal, stack_of

AXIAL = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)


def places(*z_mm: float) -> list[tuple[float, float, float]]:
    return [(0.0, 0.0, z) for z in z_mm]


@given(st.permutations(range(12)), st.floats(0.3, 5.0))
def test_any_order_of_arrival_gives_the_order_of_the_body(order: list[int], step: float) -> None:
    stack = stack_of(places(*(i * step for i in order)), AXIAL)
    assert [order[i] for i in stack.order] == list(range(12))
    assert stack.spacing_mm == pytest.approx(step)
    assert stack.warnings == ()


def test_a_missing_slice_is_a_gap() -> None:
    stack = stack_of(places(0, 1, 2, 4, 5), AXIAL)
    assert "1 gap: about 1 slices" in stack.warnings[0]


def test_two_slices_in_one_place_are_told() -> None:
    assert stack_of(places(0, 1, 1, 2), AXIAL).repeated


def test_a_sheared_stack_is_told() -> None:
    tilted = [(0.0, 0.3 * i, 1.0 * i) for i in range(5)]
    assert "tilted" in stack_of(tilted, AXIAL).warnings[0]


def test_the_normal_of_an_axial_slice_points_to_the_head() -> None:
    # PS3.3 C.7.6.2.1.1: +x left, +y posterior, so that x × y is superior.
    assert np.allclose(slice_normal(AXIAL), (0, 0, 1))


@pytest.mark.parametrize("bad", [(1, 0, 0, 1, 0, 0), (0,) * 6, (2, 0, 0, 0, 1, 0)])
def test_directions_that_are_no_plane_are_refused(bad: tuple[float, ...]) -> None:
    with pytest.raises(DegenerateGeometryError):
        stack_of(places(0, 1), bad)
