"""Refusals of the agreement statistics, change between films, a reader's own spread."""

from dataclasses import replace

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.measurement import Measurement, Unit
from hipwright.domain.side import Side
from hipwright.engines.measurement.doubt import Doubt
from hipwright.engines.outcomes.agreement import Agreement, agreement, differences
from hipwright.engines.outcomes.change import FROM_INTERVALS, OWN, change_between
from hipwright.engines.outcomes.observer_spread import (
    FEWEST_REPEATS,
    RepeatReading,
    observer_spread,
)
from hipwright.phantoms.analytic_film import FilmMaking, pelvis_film
from hipwright.phantoms.analytic_hip import KINDS, AnalyticHip, AnalyticSocket
from tests.golden.noisy_readings import read_again
from tests.golden.readings_of_phantoms import measured

CATALOG = load()
LCEA = "lateral_center_edge_angle.sourcil"


def reading(name: str, lcea: float = 29.0, making: FilmMaking | None = None) -> Measurement:
    hip = AnalyticHip(socket=AnalyticSocket(lcea_sourcil_deg=lcea))
    made = pelvis_film(dict.fromkeys(Side, hip), making=making)
    return measured(made)[name, Side.LEFT]


@pytest.mark.parametrize(
    "ratings",
    [np.ones((1, 3)), np.ones((4, 1)), np.ones(5), np.array([[1.0, np.nan], [2.0, 3.0]])],
)
def test_agreement_refuses_incomplete_tables(ratings: np.ndarray) -> None:
    with pytest.raises(DegenerateGeometryError, match="cannot tell how readers agree"):
        agreement(ratings)


def test_agreement_refuses_readings_that_do_not_differ() -> None:
    with pytest.raises(DegenerateGeometryError, match="do not differ"):
        agreement(np.full((4, 3), 30.0))


def test_perfect_agreement_is_one_without_doubt() -> None:
    found = agreement(np.array([[20.0, 20.0], [30.0, 30.0], [40.0, 40.0]]))
    assert (found.icc.value, found.icc.low, found.icc.high) == (1.0, 1.0, 1.0)
    assert found.sem == 0
    assert (found.subjects, found.readings) == (3, 2)


@pytest.mark.parametrize(
    ("first", "second"),
    [([1.0, 2.0], [1.0, 2.0]), ([1.0, 2.0, 3.0], [1.0, 2.0]), ([1.0, 2.0, np.nan], [1, 2, 3])],
)
def test_bland_altman_refuses_what_does_not_pair(first: list[float], second: list[float]) -> None:
    with pytest.raises(DegenerateGeometryError):
        differences(np.array(first, dtype=float), np.array(second, dtype=float))


def test_change_is_held_against_the_published_limit() -> None:
    small = change_between(reading(LCEA), reading(LCEA, 32.0), catalog=CATALOG)
    large = change_between(reading(LCEA), reading(LCEA, 35.2), catalog=CATALOG)
    assert small.difference == pytest.approx(3.0)
    assert not small.is_beyond_doubt
    assert large.is_beyond_doubt
    assert small.source.id == "repeatability_defaults"
    assert small.in_words() == "+3.0°, within what repeat readings differ by (5.0°)"
    assert large.in_words() == "+6.2°, more than repeat readings differ by (5.0°)"


def test_change_prefers_the_practices_own_limit() -> None:
    table = np.array([[20.0, 20.5], [30.0, 29.6], [40.0, 40.2], [25.0, 25.1]])
    own: Agreement = agreement(table)
    change = change_between(reading(LCEA), reading(LCEA, 32.0), catalog=CATALOG, own=own)
    assert change.source is OWN
    assert change.smallest_detectable_change == own.smallest_detectable_change
    assert change.is_beyond_doubt


def test_change_without_a_published_limit_takes_the_two_intervals() -> None:
    name = "sharp_angle"
    earlier, later = reading(name), reading(name)
    change = change_between(earlier, later, catalog=CATALOG)
    half = (earlier.estimate.high - earlier.estimate.low) / 2
    assert change.source is FROM_INTERVALS
    assert change.smallest_detectable_change == pytest.approx(np.sqrt(2) * half)


def test_change_of_a_ratio_is_written_with_two_decimals() -> None:
    one = reading("head_neck_offset_ratio")
    assert change_between(one, one, catalog=CATALOG).in_words().startswith("+0.00, within")


def test_change_notes_another_observer_and_another_baseline() -> None:
    earlier = reading(LCEA)
    later = replace(earlier, observer="human:other", baseline="lower edge of the picture")
    notes = change_between(earlier, later, catalog=CATALOG).notes
    assert any("two observers" in note for note in notes)
    assert any("leveled differently" in note for note in notes)


@pytest.mark.parametrize("field", ["definition", "side", "unit"])
def test_change_refuses_what_is_not_the_same_measurement(field: str) -> None:
    earlier = reading(LCEA)
    other = {"definition": "sharp_angle", "side": Side.RIGHT, "unit": Unit.PERCENT}[field]
    with pytest.raises(DegenerateGeometryError, match="cannot compare"):
        change_between(earlier, replace(earlier, **{field: other}), catalog=CATALOG)


def test_change_refuses_lengths_of_uncalibrated_films() -> None:
    one = reading("head_lateralization", making=FilmMaking(calibrated=False))
    with pytest.raises(DegenerateGeometryError, match="pixels"):
        change_between(one, one, catalog=CATALOG)


def repeats(count: int, making: FilmMaking | None = None) -> list[RepeatReading]:
    made = pelvis_film(dict.fromkeys(Side, KINDS["normal"]), making=making)
    generator = np.random.default_rng(11)
    return [
        RepeatReading(film=made.film, landmarks=read_again(made, CATALOG, generator)[1])
        for _ in range(count)
    ]


def test_observer_spread_recovers_the_spread_that_was_put_in() -> None:
    found = observer_spread(repeats(80), CATALOG)
    # 79 repeats in the midline: a standard deviation is known to 8 %; three times that.
    for name in ("sourcil_lateral_edge", "sourcil_medial_edge", "coccyx_tip"):
        assert found[name] == pytest.approx(CATALOG.landmark(name).observer_sd_mm, rel=0.25)
    head = CATALOG.landmark("femoral_head")
    assert found["femoral_head"] == pytest.approx(head.observer_sd_mm, rel=0.25)
    assert found["femoral_head.radius"][0] == pytest.approx(head.observer_sd_radius_mm, rel=0.25)
    roof = CATALOG.landmark("acetabular_roof")
    assert found["acetabular_roof"][0] == pytest.approx(roof.observer_sd_mm[0], rel=0.25)


def test_observer_spread_needs_ten_repeats_of_a_landmark() -> None:
    """Both sides of one film count: five readings are four repeats a side."""
    assert FEWEST_REPEATS == 10
    few = observer_spread(repeats(5), CATALOG)
    assert "sourcil_lateral_edge" not in few
    enough = observer_spread(repeats(6), CATALOG)
    assert "sourcil_lateral_edge" in enough
    assert "coccyx_tip" not in enough  # once in the midline: five repeats


def test_observer_spread_is_taken_by_the_measurements() -> None:
    own = Doubt(observer_sd_mm=dict(observer_spread(repeats(40), CATALOG)))
    made = pelvis_film(dict.fromkeys(Side, KINDS["normal"]))
    usual, ours = measured(made), measured(made, doubt=own)
    one, other = (f[LCEA, Side.LEFT].estimate for f in (usual, ours))
    assert other != one
    assert other.high - other.low == pytest.approx(one.high - one.low, rel=0.25)


def test_observer_spread_leaves_uncalibrated_and_single_readings_out() -> None:
    assert observer_spread(repeats(30, FilmMaking(calibrated=False)), CATALOG) == {}
    assert observer_spread(repeats(1), CATALOG) == {}
    made = pelvis_film(dict.fromkeys(Side, KINDS["normal"]))
    empty = LandmarkSet(image="x", observer="human:x")
    assert observer_spread([RepeatReading(film=made.film, landmarks=empty)], CATALOG) == {}
