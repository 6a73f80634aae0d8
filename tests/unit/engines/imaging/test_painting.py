"""Brush, outline, region and what they leave behind."""

import numpy as np
import pytest

from hipwright.domain.errors import VolumeError
from hipwright.domain.volume import Cut, LabelEdits, LabelVolume, Seed, VolumeGrid
from hipwright.engines.imaging import painting
from hipwright.engines.imaging.painting import (
    ball_voxels,
    disc_voxels,
    joined,
    outline_voxels,
    painted,
    region_voxels,
    shown_codes,
)
from hipwright.engines.imaging.slice_views import views_of
from tests.unit.engines.imaging.grids import GRIDS, grid_of, labels_of


def centers_of(grid: VolumeGrid) -> np.ndarray:
    return grid.to_mm(np.indices(grid.shape, dtype=float).reshape(3, -1).T)


@pytest.mark.parametrize("name", GRIDS)
def test_a_ball_takes_the_voxels_within_its_radius_of_the_path(name: str) -> None:
    grid = grid_of(name)
    path = grid.to_mm(np.array([[3.0, 4.0, 5.0], [6.0, 8.0, 9.0]]))
    every = centers_of(grid)
    along = np.clip(
        ((every - path[0]) @ (path[1] - path[0])) / np.sum((path[1] - path[0]) ** 2), 0, 1
    )
    away = np.linalg.norm(every - path[0] - along[:, None] * (path[1] - path[0]), axis=1)
    wanted = np.flatnonzero(away <= 2.3)
    np.testing.assert_array_equal(ball_voxels(grid, path, 2.3), wanted)
    point = ball_voxels(grid, path[0], 2.3)
    np.testing.assert_array_equal(
        point, np.flatnonzero(np.linalg.norm(every - path[0], axis=1) <= 2.3)
    )


def test_the_brush_equals_its_plain_version() -> None:
    points = np.random.default_rng(2).normal(size=(60, 3))
    path = np.array([[0.0, 0, 0], [1.0, 0.5, 0], [1.0, 0.5, 0]])
    near = painting.__dict__["_near_path"]
    np.testing.assert_array_equal(near(points, path, 0.8), near.py_func(points, path, 0.8))
    corners = np.array([[-1.0, -1], [1, -1], [0.2, 0.1], [0.0, 1]])
    inside = painting.__dict__["_in_polygon"]
    flat = np.ascontiguousarray(points[:, :2])
    np.testing.assert_array_equal(inside(flat, corners), inside.py_func(flat, corners))
    assert inside(np.array([[0.0, -0.9], [0.9, 0.9]]), corners).tolist() == [True, False]


@pytest.mark.parametrize("name", GRIDS)
@pytest.mark.parametrize("which", range(3))
def test_a_disc_stays_in_its_picture(name: str, which: int) -> None:
    grid = grid_of(name)
    view = views_of(grid)[which]
    plane = view.plane(view.count // 2)
    middle = plane.to_mm(np.array(plane.columns // 2 * 1.0), np.array(plane.rows // 2 * 1.0))
    found = disc_voxels(grid, middle, 3.0, view)
    assert len(found) > 0
    off = centers_of(grid)[found] - middle
    through = np.cross(view.first.right_mm, view.first.down_mm)
    through /= np.linalg.norm(through)
    step = abs(view.through_mm @ through)
    assert np.abs(off @ through).max() <= step / 2 + 1e-3
    flat = off - (off @ through)[:, None] * through
    assert np.linalg.norm(flat, axis=1).max() <= 3.0
    if view.axes is not None:
        shown = shown_codes(
            LabelVolume(codes=np.zeros(grid.shape, np.uint8), grid=grid),
            painted(LabelEdits.none(grid.shape), found, 3),
            view,
            view.count // 2,
        )
        assert np.count_nonzero(shown == 3) == len(found)


@pytest.mark.parametrize("name", GRIDS)
@pytest.mark.parametrize("which", range(3))
def test_edits_are_shown_where_the_edited_labels_would_be(name: str, which: int) -> None:
    grid = grid_of(name)
    labels, view = labels_of(grid), views_of(grid)[which]
    rng = np.random.default_rng(8)
    voxels = np.sort(rng.choice(labels.codes.size, 300, replace=False)).astype(np.int64)
    edits = painted(LabelEdits.none(grid.shape), voxels, 7)
    codes, before = labels.codes.copy(), labels.codes.copy()
    codes.reshape(-1)[voxels] = 7
    for index in (0, view.count // 2, view.count - 1):
        np.testing.assert_array_equal(
            shown_codes(labels, edits, view, index),
            view.codes(LabelVolume(codes=codes, grid=grid), index),
        )
        np.testing.assert_array_equal(
            shown_codes(labels, LabelEdits.none(grid.shape), view, index),
            view.codes(labels, index),
        )
    np.testing.assert_array_equal(labels.codes, before)


def test_an_outline_takes_what_it_surrounds_in_its_picture() -> None:
    grid = grid_of("head first")
    view = views_of(grid)[0]
    plane = view.plane(4)
    corners = [(2.6, 2.6), (9.4, 2.6), (9.4, 7.4), (2.6, 7.4)]
    outline = np.array([plane.to_mm(np.array(c), np.array(r)) for c, r in corners])
    found = outline_voxels(grid, outline, view)
    slices, rows, columns = np.unravel_index(found, grid.shape)
    assert set(slices) == {4}
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (3, 7, 3, 9)
    assert len(found) == 35
    with pytest.raises(VolumeError, match="line around a region"):
        outline_voxels(grid, outline[:2], view)


def test_a_region_is_filled_up_to_the_label_around_it_and_refused_when_open() -> None:
    grid = grid_of("from above downward")
    codes = np.zeros(grid.shape, np.uint8)
    codes[5, 3:9, 3:10] = 4
    codes[5, 4:8, 4:9] = 0
    view = views_of(grid)[0]
    at = grid.to_mm(np.array([5.0, 6.0, 6.0]))
    index = int(np.rint((at - view.first.origin_mm) @ view.through_mm / 4.0))
    shown = view.codes(LabelVolume(codes=codes, grid=grid), index)
    found = region_voxels(shown, grid, view, index, at)
    assert len(found) == 20
    assert set(np.unravel_index(found, grid.shape)[0]) == {5}
    outside = grid.to_mm(np.array([5.0, 1.0, 1.0]))
    with pytest.raises(VolumeError, match="border of the picture"):
        region_voxels(shown, grid, view, index, outside)
    with pytest.raises(VolumeError, match="beside the picture"):
        region_voxels(shown, grid, view, index, at + np.array([500.0, 0, 0]))


def test_newer_paint_covers_older_and_marks_stay() -> None:
    seed = Seed(at_mm=(1.0, 2.0, 3.0), code=2)
    start = LabelEdits(
        voxels=np.array([3, 8]), codes=np.array([1, 1], np.uint8), shape=(2, 3, 4), seeds=(seed,)
    )
    after = painted(start, np.array([1, 8], np.int64), 0)
    assert after.voxels.tolist() == [1, 3, 8]
    assert after.codes.tolist() == [0, 1, 0]
    assert after.seeds == (seed,)


def test_joined_edits_keep_both_and_prefer_mine() -> None:
    cut = Cut(center_mm=(0.0, 0.0, 0.0), normal=(1.0, 0.0, 0.0), radius_mm=20.0)
    mine = LabelEdits(voxels=np.array([1, 2]), codes=np.array([5, 5], np.uint8), shape=(2, 2, 2))
    theirs = LabelEdits(
        voxels=np.array([2, 3]), codes=np.array([6, 6], np.uint8), shape=(2, 2, 2), cuts=(cut,)
    )
    both = joined(mine, theirs)
    assert (both.voxels.tolist(), both.codes.tolist()) == ([1, 2, 3], [5, 5, 6])
    assert both.cuts == (cut,)
