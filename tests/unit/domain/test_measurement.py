"""Measurements in words: units, and classes with their shares."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.domain.evidence import Citation, Seen
from hipwright.domain.measurement import Classification, ClassShare, Unit

SOURCE = Citation(id="a", text="Somebody 1999.", identifier="", seen=Seen.MEMORY)


def classed(*shares: tuple[str, float]) -> Classification:
    return Classification(
        name=shares[0][0],
        shares=tuple(ClassShare(name=name, share=share) for name, share in shares),
        scheme="scheme",
        reference=SOURCE,
    )


def test_a_class_that_nothing_straddles_is_one_word() -> None:
    certain = classed(("normal", 1.0))
    assert not certain.is_split
    assert certain.in_words() == "normal"


@pytest.mark.parametrize(
    ("shares", "words"),
    [
        ((("normal", 0.72), ("borderline", 0.28)), "normal 72 %, borderline 28 %"),
        ((("normal", 0.997), ("low", 0.003)), "normal over 99 %, low under 1 %"),
        ((("a", 0.5), ("b", 0.4), ("c", 0.1)), "a 50 %, b 40 %, c 10 %"),
        ((("reduced", 0.545), ("not reduced", 0.455)), "reduced 55 %, not reduced 45 %"),
    ],
)
def test_a_split_class_tells_every_share(
    shares: tuple[tuple[str, float], ...], words: str
) -> None:
    split = classed(*shares)
    assert split.is_split
    assert split.in_words().replace("\N{NO-BREAK SPACE}", " ") == words


@given(st.lists(st.integers(20, 400), min_size=2, max_size=4))
def test_shares_told_in_words_sum_up_to_a_hundred(draws: list[int]) -> None:
    total = sum(draws)
    words = classed(*((f"class {n}", draw / total) for n, draw in enumerate(draws))).in_words()
    percents = [int(number) for number in re.findall(r"(\d+)\W%", words)]
    assert sum(percents) == 100
    for draw, shown in zip(draws, percents, strict=True):
        assert abs(100 * draw / total - shown) < 1


def test_every_unit_is_a_ucum_code_with_a_label() -> None:
    # UCUM codes: https://ucum.org (deg, mm, %, 1, an exponent behind its unit; braces hold an
    # annotation), from memory.
    assert {unit.value: unit.label for unit in Unit} == {
        "deg": "°",
        "mm": " mm",
        "mm2": " mm²",
        "mm3": " mm³",
        "{clock_hour}": " o’clock",
        "%": " %",
        "1": "",
        "{pixel}": " px",
    }
