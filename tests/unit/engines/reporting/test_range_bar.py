"""The small bar beside a value: true to scale, within its track, told in words."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.catalog import load
from hipwright.catalog.entries import MeasurementDefinition
from hipwright.engines.reporting.range_bar import range_bar
from tests.unit.engines.reporting.reported_hips import a_measurement, classed

CLASSED = sorted(e.id for e in load().measurements.values() if e.range_for(e.views[0]))
VALUES = st.floats(-1e4, 1e4)


@given(st.sampled_from(CLASSED), st.lists(VALUES, min_size=3, max_size=3))
def test_everything_on_the_bar_lies_within_its_track(
    definition: str, numbers: list[float]
) -> None:
    low, value, high = sorted(numbers)
    bar = range_bar(a_measurement(value, low, high, definition=definition), _entry(definition))
    assert bar is not None
    assert 0 <= bar.low <= bar.value <= bar.high <= 1
    for _, start, end in bar.bands:
        assert 0 <= start < end <= 1


@given(st.sampled_from(CLASSED), VALUES)
def test_bands_follow_each_other_over_the_whole_track(definition: str, value: float) -> None:
    bar = range_bar(a_measurement(value, value, value, definition=definition), _entry(definition))
    assert bar is not None
    assert (bar.bands[0][1], bar.bands[-1][2]) == (0.0, 1.0)
    for (_, _, end), (_, start, _) in itertools.pairwise(bar.bands):
        assert end == start


@given(st.sampled_from(CLASSED), st.floats(-200, 200))
def test_the_value_stands_in_the_band_of_its_class(definition: str, value: float) -> None:
    found = a_measurement(value, value, value, definition=definition)
    bar = range_bar(found, _entry(definition))
    assert bar is not None
    (band,) = [band for band in bar.bands if band[0] == classed(found).name]
    assert band[1] - 1e-9 <= bar.value <= band[2] + 1e-9


@given(st.sampled_from(CLASSED), st.floats(10, 500))
def test_a_value_outside_its_own_interval_is_not_pushed_to_the_edge(
    definition: str, off: float
) -> None:
    found = a_measurement(off, -1.0, 1.0, definition=definition)
    bar = range_bar(found, _entry(definition))
    assert bar is not None
    assert bar.high < bar.value < 1


def test_the_bar_says_in_words_what_it_shows() -> None:
    found = a_measurement(24.0, 20.0, 28.0)
    bar = range_bar(found, _entry(found.definition))
    assert bar is not None
    assert bar.label.startswith("24.0°, interval 20.0 to 28.0 degrees: ")
    assert bar.label.endswith(classed(found).in_words())


@pytest.mark.parametrize("definition", ["lateral_center_edge_angle.with_ossicle"])
def test_a_measurement_without_classes_has_no_bar(definition: str) -> None:
    assert range_bar(a_measurement(30, 29, 31, definition=definition), _entry(definition)) is None
    unclassed = a_measurement(30, 29, 31, classification=None)
    assert range_bar(unclassed, _entry(unclassed.definition)) is None


def _entry(definition: str) -> MeasurementDefinition:
    return load().measurement(definition)
