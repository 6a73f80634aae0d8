"""What measuring in space says of one entry."""

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.catalog.entries import NoiseRaises
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.measurement.measure_space import SpacePapers, _finding
from hipwright.engines.measurement.space_rise import freed_of_rise

PAPERS = SpacePapers(
    catalog=load(),
    border=HipBorder(
        side=Side.RIGHT, app_from_lps=np.eye(3), origin_mm=np.zeros(3), fixed_to="scan"
    ),
    image="scan",
    observer="program",
    inputs_sha256="0" * 64,
    software="hipwright",
)
ROUNDNESS = load().measurement("head_sphericity.rms")
LARGEST = load().measurement("alpha_angle.radial.maximum")
DISTANCE = load().measurement("joint_congruence")
LEAST = load().measurement("joint_space.in_space.minimum")


def test_an_interval_holds_the_value_that_noise_can_only_lower() -> None:
    draws = np.random.default_rng(3).uniform(3.1, 3.3, 200)
    found = _finding(LEAST, np.append(3.4, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert found.estimate.high == found.value == 3.4
    assert 3.09 < found.estimate.low < 3.12
    assert any("widened" in note for note in found.notes)


def test_an_interval_around_its_value_is_left_alone() -> None:
    draws = np.random.default_rng(3).uniform(3.1, 3.3, 200)
    found = _finding(LEAST, np.append(3.2, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert found.estimate.low > 3.09
    assert not found.notes


def test_a_root_mean_square_is_freed_of_what_noise_adds_to_its_square() -> None:
    # The bone's own is 0.3; noise of 0.1 adds 0.01 to the square, once seen and twice drawn.
    twice = np.sqrt(0.3**2 + 2 * 0.1**2 + np.random.default_rng(3).normal(0.0, 0.004, 200))
    found = _finding(ROUNDNESS, np.append(np.sqrt(0.3**2 + 0.1**2), twice), PAPERS, None)
    assert isinstance(found, Measurement)
    assert found.estimate.low == pytest.approx(np.sqrt(0.09 - 2 * 0.004), abs=0.002)
    assert found.estimate.high == found.value > 0.31
    assert not found.notes


def test_a_largest_value_is_freed_of_what_noise_adds_to_the_largest_of_many() -> None:
    # Of 40 alike the largest lies 2.16 standard deviations over their mean (order statistics of
    # the normal law, H. L. Harter, Biometrika 1961;48:151, from memory).
    rng = np.random.default_rng(3)
    once = 60.0 + 2.16
    twice = (60.0 + np.sqrt(2.0) * rng.standard_normal((201, 40))).max(axis=1)
    freed = freed_of_rise(np.append(once, twice), NoiseRaises.TYPICAL)
    assert np.median(freed[1:]) == pytest.approx(60.0, abs=0.4)
    found = _finding(LARGEST, np.append(once, twice), PAPERS, None)
    assert isinstance(found, Measurement)
    assert found.estimate.low < 60.0 < found.estimate.high == pytest.approx(once)


@pytest.mark.parametrize("true", [0.0, 0.2, 0.5, 1.0])
def test_a_distance_is_covered_whether_noise_lengthened_or_shortened_it(true: float) -> None:
    rng = np.random.default_rng(3)
    covered = 0
    for _ in range(100):
        seen = np.array([true, 0.0, 0.0]) + 0.15 * rng.standard_normal(3)
        again = np.linalg.norm(seen + 0.15 * rng.standard_normal((200, 3)), axis=1)
        values = np.append(np.linalg.norm(seen), again).astype(np.float64)
        found = _finding(DISTANCE, values, PAPERS, None)
        assert isinstance(found, Measurement)
        covered += found.estimate.low <= true <= found.estimate.high
    assert covered >= 93


def test_a_volume_may_hold_as_much_of_noise_as_noise_adds() -> None:
    freed = freed_of_rise(np.array([400.0, 380.0, 500.0, 900.0]), NoiseRaises.SUMS)
    assert freed.tolist() == [400.0, 420.0, 300.0, 0.0]


def test_draws_that_jump_up_widen_no_largest_value_upward() -> None:
    draws = np.append(np.random.default_rng(3).normal(60.0, 1.0, 160), np.full(40, 95.0))
    found = _finding(LARGEST, np.append(60.0, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert found.estimate.high < 63.0


def test_draws_that_are_not_there_stay_away() -> None:
    draws = np.array([61.0, np.nan, 60.0, 62.0])
    freed = freed_of_rise(np.append(60.5, draws), NoiseRaises.TYPICAL)
    assert np.isfinite(freed).sum() == 4
    nothing = freed_of_rise(np.array([60.0, np.nan]), NoiseRaises.TYPICAL)
    assert np.isnan(nothing[1])


def test_a_root_mean_square_of_nothing_begins_at_nothing() -> None:
    draws = np.random.default_rng(3).uniform(0.1, 0.3, 200)
    found = _finding(ROUNDNESS, np.append(0.06, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert (found.estimate.low, found.estimate.high) == (0.0, 0.06)


def test_a_value_that_many_draws_lack_says_so() -> None:
    draws = np.where(np.arange(200) % 4, 0.2, np.nan)
    found = _finding(ROUNDNESS, np.append(0.2, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert any(note.startswith("defined in only 75") for note in found.notes)


def test_a_value_that_is_not_there_is_not_measured_and_keeps_its_hour() -> None:
    found = _finding(ROUNDNESS, np.full(201, np.nan), PAPERS, 3.0)
    assert isinstance(found, NotMeasured)
    assert (found.reason, found.hour) == (ROUNDNESS.undefined_when, 3.0)
