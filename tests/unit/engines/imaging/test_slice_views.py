"""Axial, coronal and sagittal views of grids that lie any way."""

import numpy as np
import pytest

from hipwright.engines.imaging.slice_views import (
    SliceDirection,
    is_square,
    letters_of,
    turned_by_deg,
    views_of,
)
from tests.unit.engines.imaging.grids import GRIDS, grid_of, labels_of, ramp

LETTERS = {
    SliceDirection.AXIAL: ("L", "P", "H"),
    SliceDirection.CORONAL: ("L", "F", "P"),
    SliceDirection.SAGITTAL: ("P", "F", "L"),
}
"""Right, down and through; the patient's right at the left of the picture (common practice)."""


@pytest.mark.parametrize("name", GRIDS)
def test_right_is_at_the_left_and_the_head_up_on_every_grid(name: str) -> None:
    for view in views_of(grid_of(name)):
        first = view.first
        named = (
            letters_of(first.right_mm),
            letters_of(first.down_mm),
            letters_of(view.through_mm),
        )
        assert tuple(letters[0] for letters in named) == LETTERS[view.direction]


@pytest.mark.parametrize("name", GRIDS)
def test_every_pixel_holds_what_lies_at_its_place(name: str) -> None:
    grid = grid_of(name)
    volume = ramp(grid)
    for view in views_of(grid):
        index = view.count // 2
        picture = view.values(volume, index)
        assert picture.flags.c_contiguous
        columns, rows = np.meshgrid(
            np.arange(picture.shape[1], dtype=float), np.arange(picture.shape[0], dtype=float)
        )
        wanted = view.plane(index).to_mm(columns, rows) @ np.array([7.0, -11.0, 5.0])
        at = grid.to_indices(view.plane(index).to_mm(columns, rows))
        within = ((at >= -1e-9) & (at <= np.array(grid.shape) - 1 + 1e-9)).all(axis=-1)
        assert within.any()
        assert within.all() or not is_square(grid)
        np.testing.assert_allclose(picture[within], wanted[within], atol=1.01)


@pytest.mark.parametrize("name", [n for n in GRIDS if n != "tilted gantry"])
def test_a_square_grid_is_shown_voxel_by_voxel(name: str) -> None:
    grid = grid_of(name)
    volume, labels = ramp(grid), labels_of(grid)
    for view in views_of(grid):
        shown = [view.values(volume, k) for k in range(view.count)]
        assert sorted(np.concatenate(shown, axis=None)) == sorted(volume.values.ravel())
        assert sorted(
            np.concatenate([view.codes(labels, k) for k in range(view.count)], axis=None)
        )
        first = view.plane(0).to_mm(np.array(0.0), np.array(0.0))
        voxel = tuple(np.rint(grid.to_indices(first)).astype(int))
        assert view.codes(labels, 0)[0, 0] == labels.codes[voxel]


def test_a_tilted_gantry_is_told_from_a_turned_patient() -> None:
    assert not is_square(grid_of("tilted gantry"))
    assert turned_by_deg(grid_of("turned by 9 degrees")) == pytest.approx(9.0, abs=1e-9)
    assert turned_by_deg(grid_of("coronal slices")) == pytest.approx(0.0, abs=1e-6)
    assert turned_by_deg(grid_of("tilted gantry")) == pytest.approx(14.0, abs=1e-9)


def test_the_views_of_a_tilted_gantry_hold_all_of_it_and_run_along_the_patient() -> None:
    grid = grid_of("tilted gantry")
    corners = grid.to_mm(
        np.array(list(np.ndindex(2, 2, 2)), dtype=float) * (np.array(grid.shape) - 1)
    )
    for view in views_of(grid):
        steps = np.array([view.first.down_mm, view.first.right_mm, view.through_mm])
        at = (corners - view.first.origin_mm) @ np.linalg.inv(steps)
        assert at.min() >= -1e-6
        assert (
            at.max(axis=0) <= np.array([view.first.rows, view.first.columns, view.count])
        ).all()
        assert np.count_nonzero(np.abs(steps) > 1e-12) == 3


def test_a_slanting_direction_has_two_letters() -> None:
    assert letters_of(np.array([0.0, -1.0, 0.0])) == "A"
    assert letters_of(np.array([-0.8, 0.6, 0.0])) == "RP"
    assert letters_of(np.array([0.1, 0.0, -5.0])) == "F"
