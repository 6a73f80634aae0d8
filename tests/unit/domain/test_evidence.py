"""Where a number comes from, and how far it can be trusted."""

import math
from typing import Any

import pytest

from hipwright.domain.errors import UnitError
from hipwright.domain.evidence import Citation, Estimate, Seen, Spread


def test_a_citation_tells_how_it_was_seen() -> None:
    source = Citation(id="a", text="Somebody 1999.", identifier="doi:1", seen=Seen.MEMORY)
    assert str(source) == "Somebody 1999. [memory]"


def test_only_the_full_text_is_first_hand() -> None:
    assert [seen for seen in Seen if seen.is_first_hand] == [Seen.FULL_TEXT]


def test_a_value_may_lie_off_the_middle_of_its_interval() -> None:
    estimate = Estimate(value=1.0, low=0.9, high=3.0)
    assert (estimate.level, estimate.spread) == (0.95, Spread.PROPAGATED)


@pytest.mark.parametrize("broken", ["value", "low", "high", "level"])
@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_an_estimate_that_is_not_finite_is_refused(broken: str, number: float) -> None:
    parts: dict[str, Any] = {"value": 1.0, "low": 0.0, "high": 2.0, "level": 0.95, broken: number}
    with pytest.raises(UnitError, match="finite numbers"):
        Estimate(**parts)


@pytest.mark.parametrize(
    ("low", "high", "level"), [(2.0, 1.0, 0.95), (0.0, 1.0, 0.0), (0.0, 1.0, 1.0)]
)
def test_an_interval_upside_down_or_of_no_level_is_refused(
    low: float, high: float, level: float
) -> None:
    with pytest.raises(UnitError, match="low not above high"):
        Estimate(value=0.5, low=low, high=high, level=level)
