from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hipwright.engines.anatomy.femur_draws import drawn_femur, fit_weights, read_rows
from hipwright.engines.anatomy.femur_frame import femur_frame
from hipwright.engines.anatomy.space_doubt import SpaceDoubt
from tests.unit.engines.measurement.round_femora import round_femur, value

BALL = (60.0, 1.5, 10.0, 17.0)


def rng() -> np.random.Generator:
    return np.random.default_rng(20261125)


def doubt(edge: float = 0.0, bias: float = 0.0, **landmarks: float) -> SpaceDoubt:
    return SpaceDoubt(edge_sd_mm=edge, edge_bias_sd_mm=bias, landmark_sd_mm=landmarks, count=200)


def test_without_doubt_every_draw_is_the_femur_as_surveyed() -> None:
    femur = round_femur(ball=BALL)
    drawn = drawn_femur(femur, rng(), doubt())
    for name in ("alpha_angle.radial", "cam_volume", "femoral_version.murphy"):
        values = value(drawn, name)
        assert values == pytest.approx(np.broadcast_to(value(femur, name), values.shape), abs=0.05)


def test_the_first_draw_is_the_femur_as_surveyed() -> None:
    femur = round_femur(ball=BALL)
    drawn = drawn_femur(femur, rng(), doubt(0.3, 0.2, femoral_head_center=0.3))
    assert np.array_equal(drawn.radial_mm[0], femur.radial_mm)
    assert drawn.head_center[0] == pytest.approx(femur.head_center)
    assert drawn.neck_axis[0] == pytest.approx(femur.neck_axis)
    assert drawn.clock_up[0] == pytest.approx(femur.clock_up)
    assert drawn.long_axis[0] == pytest.approx(femur.long_axis)


def test_a_common_shift_changes_the_size_of_the_head_and_not_its_place() -> None:
    drawn = drawn_femur(round_femur(), rng(), doubt(bias=0.4))
    assert value(drawn, "head_radius")[1:].std() == pytest.approx(0.4, rel=0.15)
    assert np.abs(drawn.head_center).max() < 1e-9


def test_noise_moves_the_center_by_less_than_its_own_size() -> None:
    drawn = drawn_femur(round_femur(), rng(), doubt(edge=0.15))
    assert 0.005 < drawn.head_center[1:].std() < 0.075
    alphas = value(drawn, "alpha_angle.radial")[1:]
    assert 0.2 < alphas.std(axis=0).mean() < 3.0
    assert alphas.mean(axis=0) == pytest.approx(value(round_femur(), "alpha_angle.radial"), abs=1)


def test_a_center_that_moves_toward_a_side_is_nearer_to_the_bone_there() -> None:
    femur = round_femur()
    drawn = drawn_femur(femur, rng(), doubt(femoral_head_center=0.5))
    shift = drawn.head_center[1:]
    pole = drawn.radial_mm[1:, 0, -1]  # straight away from the neck
    assert pole == pytest.approx(24.0 + shift @ femur.neck_axis, abs=0.08)  # first order


def test_the_spread_of_the_condyles_shows_in_version() -> None:
    drawn = drawn_femur(
        round_femur(), rng(), doubt(posterior_condyle_medial=0.7, posterior_condyle_lateral=0.7)
    )
    found = value(drawn, "femoral_version.murphy")[1:]
    assert found.std() == pytest.approx(np.degrees(0.7 * np.sqrt(2) / 48.0), rel=0.15)


def test_a_femur_without_its_knee_has_the_fallbacks_spread_in_its_long_axis() -> None:
    femur = round_femur(
        posterior_condyles=np.full((2, 3), np.nan), epicondyles=np.full((2, 3), np.nan)
    )
    drawn = drawn_femur(femur, rng(), doubt())
    lean = np.degrees(np.arctan2(drawn.long_axis[1:, 1], drawn.long_axis[1:, 2]))
    assert lean.std() == pytest.approx(2.0, rel=0.2)


def test_rows_are_read_at_other_places_as_by_plain_numpy() -> None:
    at = np.sort(rng().uniform(0.0, 180.0, (6, 40)), axis=1)
    at[2, 20] = at[2, 10]  # falls back
    away = rng().uniform(20.0, 40.0, at.shape)
    away[3, 5:9], away[4] = np.nan, np.nan
    asked = np.arange(-5.0, 190.0, 1.5)
    found = read_rows(at, away, asked)
    for row, x, y in zip(found, at, away, strict=True):
        there = np.isfinite(y)
        if there.any():
            expected = np.interp(asked, np.maximum.accumulate(x[there]), y[there])
            assert row == pytest.approx(expected, abs=1e-9)
    assert np.isnan(found[4]).all()


def test_a_bump_has_no_say_in_the_sphere() -> None:
    bumpy = round_femur(ball=(75.0, 1.5, 10.0, 17.0))
    weights = fit_weights(bumpy)
    assert not weights[bumpy.radial_mm > 25.0].any()
    assert weights[24, -40] > 0


def test_frame_of_a_whole_femur_is_that_of_the_isb() -> None:
    femur = round_femur()
    frame = femur_frame(femur)
    assert not frame.is_fallback
    up = femur.head_center - femur.epicondyles.mean(axis=0)
    assert frame.axes[2] == pytest.approx(up / np.linalg.norm(up))
    assert frame.axes @ frame.axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(frame.axes) == pytest.approx(1.0)
    assert abs(frame.axes[0] @ (femur.epicondyles[1] - femur.epicondyles[0])) > 70.0


def test_frame_of_an_upper_femur_tells_what_it_assumes() -> None:
    whole = round_femur(version=15.0)
    upper = replace(
        whole,
        epicondyles=np.full((2, 3), np.nan),
        posterior_condyles=np.full((2, 3), np.nan),
    )
    frame = femur_frame(upper)
    assert frame.is_fallback
    assert frame.sd_deg[2] > frame.sd_deg[1] > 0
    assert "not scanned" in frame.method
    # A femur of just the assumed version comes out with its condyles facing straight back.
    assert frame.axes[1] == pytest.approx([0.0, 1.0, 0.0], abs=1e-9)
