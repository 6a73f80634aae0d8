"""Angles and lengths: one number, one unit, never a bare number by accident."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.domain.errors import UnitError
from hipwright.domain.quantities import Angle, Length

FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(FINITE)
def test_an_angle_keeps_the_degrees_that_were_typed(degrees: float) -> None:
    assert Angle.from_degrees(degrees).degrees == degrees


@given(st.floats(-1e6, 1e6))
def test_radians_and_degrees_tell_the_same_angle(radians: float) -> None:
    assert Angle.from_radians(radians).radians == pytest.approx(radians, rel=1e-12, abs=1e-12)


def test_half_a_turn_is_180_degrees() -> None:
    assert Angle.from_radians(math.pi).degrees == pytest.approx(180.0)


@given(FINITE, FINITE)
def test_quantities_are_ordered_as_their_numbers(one: float, other: float) -> None:
    assert (Angle(one) < Angle(other)) == (one < other)
    assert (Length.from_mm(one) >= Length.from_mm(other)) == (one >= other)


def test_quantities_are_written_with_their_unit() -> None:
    assert str(Angle(-3.04)) == "-3.0°"
    assert str(Length(4.19)) == "4.2 mm"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("make", [Angle.from_degrees, Angle.from_radians, Length.from_mm])
def test_a_quantity_that_is_not_finite_is_refused(make: type[Angle], value: float) -> None:
    with pytest.raises(UnitError, match="finite number") as caught:
        make(value)
    assert "NotMeasured" in caught.value.next_step


@pytest.mark.parametrize(("quantity", "way"), [(Angle(1), ".degrees"), (Length(1), ".mm")])
def test_a_quantity_does_not_become_a_bare_number(quantity: Angle | Length, way: str) -> None:
    with pytest.raises(UnitError) as caught:
        float(quantity)
    assert way in caught.value.next_step


def test_an_angle_and_a_length_cannot_be_compared() -> None:
    with pytest.raises(TypeError):
        _ = Angle(1) < Length(1)  # pyright: ignore[reportOperatorIssue] - the point
