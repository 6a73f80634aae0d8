"""How numbers are written: to the precision they are reported to, never a minus zero."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.catalog import load
from hipwright.domain.measurement import Unit
from hipwright.engines.reporting.numbers import (
    MINUS,
    hour_in_words,
    interval_in_words,
    spoken_unit,
    time_in_words,
    value_with_unit,
    written,
)
from tests.unit.engines.reporting.reported_hips import a_measurement

PRECISIONS = sorted({entry.reported_to for entry in load().measurements.values()})


def number(text: str) -> float:
    return float(text.replace(MINUS, "-"))


@given(st.floats(-1e4, 1e4), st.sampled_from(PRECISIONS))
def test_a_written_number_is_the_value_to_half_its_last_place(value: float, to: float) -> None:
    assert abs(number(written(value, to)) - value) <= to / 2 + 1e-9


@given(st.floats(-0.6, 0.6), st.sampled_from(PRECISIONS))
def test_zero_is_never_written_with_a_minus(value: float, to: float) -> None:
    text = written(value, to)
    assert "-" not in text
    assert (MINUS in text) == (number(text) < 0)


@given(st.floats(-1e4, 1e4), st.floats(0, 100), st.sampled_from(PRECISIONS))
def test_a_greater_value_is_never_written_as_a_smaller_number(
    value: float, more: float, to: float
) -> None:
    assert number(written(value, to)) <= number(written(value + more, to))


@pytest.mark.parametrize(
    ("value", "to", "text"),
    [
        (28.0, 0.1, "28.0"),
        (-0.04, 0.1, "0.0"),
        (0.185, 0.01, "0.18"),
        (17.5, 1, "18"),
        (-3, 1, "−3"),
    ],
)
def test_numbers_are_written_as_reports_want_them(value: float, to: float, text: str) -> None:
    assert written(value, to) == text


def test_a_value_comes_with_its_unit_and_an_interval_without() -> None:
    found = a_measurement(28.04, -1.26, 32.7)
    assert value_with_unit(found) == "28.0°"
    assert interval_in_words(found) == "−1.3 to 32.7"
    millimeters = a_measurement(4.19, 3.0, 5.0, definition="joint_space.minimum")
    assert value_with_unit(millimeters) == "4.2 mm"


def test_places_on_the_clock_are_written_as_time_also_across_twelve() -> None:
    assert [hour_in_words(hour) for hour in (0.5, 11.5, 12.0, 0.0)] == [
        "12:30",
        "11:30",
        "12:00",
        "12:00",
    ]
    hour = a_measurement(0.52, -0.5, 12.8, definition="alpha_angle.radial.maximum_hour")
    assert value_with_unit(hour) == "12:30"
    assert interval_in_words(hour) == "11:30 to 12:48"
    assert time_in_words(-0.25) == f"{MINUS}0:15"


def test_every_unit_can_be_read_aloud() -> None:
    spoken = {unit: spoken_unit(unit) for unit in Unit}
    assert spoken.pop(Unit.ONE) == ""
    assert all(re.fullmatch("[a-z]+([ ’][a-z]+)?", word) for word in spoken.values())
