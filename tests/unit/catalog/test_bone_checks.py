"""Remarks on finished bones, as sentences."""

import pytest

from hipwright.catalog.bone_checks import bone_checks


def sentence(check: str, figure: float) -> str:
    return next(c for c in bone_checks() if c.id == check).sentence("Left femur", figure)


@pytest.mark.parametrize(
    ("check", "figure", "told"),
    [("rejected_edges", 0.1051, "at 11 % of its surface"), ("spike", 0.0323, "only 3.2 %")],
)
def test_shares_are_told_in_percent(check: str, figure: float, told: str) -> None:
    assert told in sentence(check, figure)


@pytest.mark.parametrize("figure", [0.0004, 0.5, 12.34, 1694.2, 123456.0])
def test_no_figure_is_a_power_of_ten(figure: float) -> None:
    for check in bone_checks():
        told = check.sentence("Left femur", figure)
        assert "e+0" not in told
        assert "e-0" not in told
        assert "{" not in told
