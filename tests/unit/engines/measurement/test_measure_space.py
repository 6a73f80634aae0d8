"""What measuring in space says of one entry."""

import numpy as np

from hipwright.catalog import load
from hipwright.domain.measurement import Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.measurement.measure_space import SpacePapers, _finding

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


def test_an_interval_holds_the_value_that_noise_can_only_raise() -> None:
    draws = np.random.default_rng(3).uniform(0.1, 0.3, 200)
    found = _finding(ROUNDNESS, np.append(0.06, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert found.estimate.low == found.value == 0.06
    assert 0.28 < found.estimate.high < 0.31
    assert any("widened" in note for note in found.notes)


def test_an_interval_around_its_value_is_left_alone() -> None:
    draws = np.random.default_rng(3).uniform(0.1, 0.3, 200)
    found = _finding(ROUNDNESS, np.append(0.2, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert found.estimate.low > 0.09
    assert not found.notes


def test_a_value_that_many_draws_lack_says_so() -> None:
    draws = np.where(np.arange(200) % 4, 0.2, np.nan)
    found = _finding(ROUNDNESS, np.append(0.2, draws), PAPERS, None)
    assert isinstance(found, Measurement)
    assert any(note.startswith("defined in only 75") for note in found.notes)


def test_a_value_that_is_not_there_is_not_measured_and_keeps_its_hour() -> None:
    found = _finding(ROUNDNESS, np.full(201, np.nan), PAPERS, 3.0)
    assert isinstance(found, NotMeasured)
    assert (found.reason, found.hour) == (ROUNDNESS.undefined_when, 3.0)
