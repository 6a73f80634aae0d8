from typing import Any

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.domain.anatomy import BoneQuality
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.space_doubt import (
    SpaceDoubt,
    catalog_landmark_sds,
    edge_noise,
    edge_shifts,
    landmark_shifts,
    paired_normals,
    small_turns,
)


def rng() -> np.random.Generator:
    return np.random.default_rng(20261125)


def sphere_grid(radius: float = 24.0) -> np.ndarray:
    hours, angles = np.meshgrid(np.arange(48) * np.pi / 24, np.radians(np.arange(4, 140, 2.0)))
    ring = np.sin(angles)
    return radius * np.stack([ring * np.cos(hours), ring * np.sin(hours), np.cos(angles)], axis=-1)


def doubt(**kw: Any) -> SpaceDoubt:
    values: dict[str, Any] = {"edge_sd_mm": 0.3, "edge_bias_sd_mm": 0.2} | kw
    return SpaceDoubt(**values)


def test_the_first_row_of_every_draw_is_the_bone_as_surveyed():
    assert not edge_noise(rng(), sphere_grid(), doubt())[0].any()
    assert edge_shifts(rng(), doubt())[0] == 0
    assert not landmark_shifts(rng(), "x", doubt(landmark_sd_mm={"x": 2.0}))[0].any()
    assert np.array_equal(small_turns(rng(), 2.0, 5)[0], np.eye(3))


def test_draws_come_in_mirrored_pairs():
    rows = paired_normals(rng(), 200, 4)
    assert rows.shape == (201, 4)
    assert np.array_equal(rows[1:101], -rows[101:])


def test_an_odd_number_of_draws_leaves_the_last_mirror_out():
    assert paired_normals(rng(), 5, 2).shape == (6, 2)


def test_edge_noise_has_the_spread_and_the_smoothness_that_was_asked_for():
    # Expected correlation: exp(-d^2 / 2 l^2), the covariance of a normal bell laid over itself.
    grid = sphere_grid()
    noise = edge_noise(rng(), grid, doubt(count=2000, correlation_mm=6.0))[1:]
    assert noise.std() == pytest.approx(0.3, rel=0.03)
    assert noise.std(axis=0) == pytest.approx(np.full(grid.shape[:-1], 0.3), rel=0.12)
    here = noise[:, 30, 0]
    for row in (33, 36, 42):
        apart = float(np.linalg.norm(grid[row, 0] - grid[30, 0]))
        expected = np.exp(-(apart**2) / (2 * 6.0**2))
        assert np.corrcoef(here, noise[:, row, 0])[0, 1] == pytest.approx(expected, abs=0.08)


def test_places_of_two_maps_given_together_share_their_noise():
    twice = np.stack([sphere_grid(), sphere_grid()])
    noise = edge_noise(rng(), twice, doubt(count=4))
    assert np.allclose(noise[:, 0], noise[:, 1], atol=1e-6)


def test_places_that_are_not_there_get_no_noise():
    places = np.array([[np.nan, 0.0, 0.0], [1.0, 2.0, 3.0]])
    noise = edge_noise(rng(), places, doubt(count=4))
    assert not noise[:, 0].any()
    assert noise[1, 1] != 0


def test_landmarks_without_a_known_spread_stay():
    assert not landmark_shifts(rng(), "unknown", doubt()).any()


def test_small_turns_have_the_spread_that_was_asked_for():
    turns = small_turns(rng(), 2.0, 4000)[1:]
    about_z = np.degrees(np.arctan2(turns[:, 1, 0], turns[:, 0, 0]))
    assert about_z.std() == pytest.approx(2.0, rel=0.05)


def test_the_catalog_gives_each_landmark_its_spread():
    sds = catalog_landmark_sds()
    assert all(load().bone_feature(name).sd_mm == sd for name, sd in sds.items())


def test_the_doubt_of_a_bone_comes_from_its_quality():
    of = SpaceDoubt.of_bone(
        BoneQuality(edge_sd_mm=0.2, edge_bias_sd_mm=0.1), frame_sd_deg=3.0, count=10
    )
    assert (of.edge_sd_mm, of.edge_bias_sd_mm, of.frame_sd_deg, of.count) == (0.2, 0.1, 3.0, 10)


@pytest.mark.parametrize(
    "wrong",
    [{"edge_sd_mm": -1.0}, {"correlation_mm": 0.0}, {"count": 0}, {"frame_sd_deg": np.nan}],
)
def test_a_doubt_that_cannot_be_drawn_is_refused(wrong: dict[str, float]):
    with pytest.raises(DegenerateGeometryError, match="cannot draw"):
        doubt(**wrong)
