"""The small bar beside a value: true to scale, within its track, told in words."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.catalog import load
from hipwright.catalog.entries import Band, MeasurementDefinition, ReferenceRange
from hipwright.domain.evidence import Estimate
from hipwright.engines.measurement.classes import classify
from hipwright.engines.reporting.range_bar import range_bar
from tests.unit.engines.reporting.reported_hips import a_measurement, classed

CLASSED = sorted(e.id for e in load().measurements.values() if e.range_for(e.views[0]))
VALUES = st.floats(-1e4, 1e4)


@given(st.sampled_from(CLASSED), st.lists(VALUES, min_size=3, max_size=3))
def test_everything_on_the_bar_lies_within_its_track(
    definition: str, numbers: list[float]
) -> None:
    low, value, high = sorted(numbers)
    bar = range_bar(
        a_measurement(value, low, high, definition=definition), _entry(definition), sex=None
    )
    assert bar is not None
    assert 0 <= bar.low <= bar.value <= bar.high <= 1
    for _, start, end in bar.bands:
        assert 0 <= start < end <= 1


@given(st.sampled_from(CLASSED), VALUES)
def test_bands_follow_each_other_over_the_whole_track(definition: str, value: float) -> None:
    bar = range_bar(
        a_measurement(value, value, value, definition=definition), _entry(definition), sex=None
    )
    assert bar is not None
    assert (bar.bands[0][1], bar.bands[-1][2]) == (0.0, 1.0)
    for (_, _, end), (_, start, _) in itertools.pairwise(bar.bands):
        assert end == start


@given(st.sampled_from(CLASSED), st.floats(-200, 200))
def test_the_value_stands_in_the_band_of_its_class(definition: str, value: float) -> None:
    found = a_measurement(value, value, value, definition=definition)
    bar = range_bar(found, _entry(definition), sex=None)
    assert bar is not None
    (band,) = [band for band in bar.bands if band[0] == classed(found).name]
    assert band[1] - 1e-9 <= bar.value <= band[2] + 1e-9


@given(st.sampled_from(CLASSED), st.floats(10, 500))
def test_a_value_outside_its_own_interval_is_not_pushed_to_the_edge(
    definition: str, off: float
) -> None:
    found = a_measurement(off, -1.0, 1.0, definition=definition)
    bar = range_bar(found, _entry(definition), sex=None)
    assert bar is not None
    assert bar.high < bar.value < 1


def test_the_bar_says_in_words_what_it_shows() -> None:
    found = a_measurement(24.0, 20.0, 28.0)
    bar = range_bar(found, _entry(found.definition), sex=None)
    assert bar is not None
    assert bar.label.startswith("24.0°, interval 20.0 to 28.0 degrees: ")
    assert bar.label.endswith(classed(found).in_words())


@pytest.mark.parametrize(("sex", "name"), [("female", "low"), ("male", "high")])
def test_bar_and_class_use_the_range_of_the_same_sex(sex: str, name: str) -> None:
    """Invented ranges: one value, which is low for women and high for men."""
    entry = replace(
        load().measurement("lateral_center_edge_angle.sourcil"),
        reference_ranges=tuple(
            ReferenceRange(
                scheme=f"invented, {of}",
                bands=(
                    Band(name="low", low=-math.inf, high=threshold),
                    Band(name="high", low=threshold, high=math.inf),
                ),
                cite="wiberg1939",
                variant="this",
                sex=of,
            )
            for of, threshold in (("female", 40.0), ("male", 20.0))
        ),
    )
    estimate = Estimate(value=30.0, low=29.0, high=31.0)
    values = np.array([30.0, *np.linspace(29, 31, 50)])
    found = a_measurement(
        30.0,
        29.0,
        31.0,
        classification=classify(values, estimate, entry, entry.views[0], load(), sex=sex),
    )
    assert classed(found).name == name
    bar = range_bar(found, entry, sex=sex)
    assert bar is not None
    (band,) = [band for band in bar.bands if band[0] == name]
    assert band[1] <= bar.low <= bar.high <= band[2]


@pytest.mark.parametrize("definition", ["lateral_center_edge_angle.with_ossicle"])
def test_a_measurement_without_classes_has_no_bar(definition: str) -> None:
    assert (
        range_bar(a_measurement(30, 29, 31, definition=definition), _entry(definition), sex=None)
        is None
    )
    unclassed = a_measurement(30, 29, 31, classification=None)
    assert range_bar(unclassed, _entry(unclassed.definition), sex=None) is None


def _entry(definition: str) -> MeasurementDefinition:
    return load().measurement(definition)
