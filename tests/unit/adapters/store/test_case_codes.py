"""Case codes: what they look like, how they are looked up, how rarely two meet."""

import random
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.adapters.store.case_codes import (
    ALPHABET,
    LETTERS,
    check_code,
    code_key,
    make_code,
)

# Crockford's base 32 leaves out I, L, O and U; from memory
CROCKFORD = set("0123456789ABCDEFGHJKMNPQRSTVWXYZ")


def test_a_code_is_two_groups_of_three_and_begins_with_a_letter() -> None:
    choose = random.Random(3).choice  # noqa: S311 - a test
    for _ in range(500):
        code = make_code(choose)
        assert re.fullmatch(r"[A-Z][0-9A-Z]{2}-[0-9A-Z]{3}", code)
        assert set(code) - {"-"} <= CROCKFORD
        assert check_code(code) == code


def test_no_code_spells_a_word() -> None:
    assert not set("AEIOU") & set(ALPHABET)


def test_codes_of_two_devices_meet_as_rarely_as_told() -> None:
    codes = len(LETTERS) * len(ALPHABET) ** 5
    assert codes == 486_000_000
    assert 2000 * 2000 / codes == pytest.approx(0.008, abs=0.0005)


@given(st.text(alphabet="ABCDEFGHJKMNPQRSTVWXYZ0123456789", min_size=1, max_size=12))
def test_writing_a_code_differently_looks_up_the_same(code: str) -> None:
    spaced = " ".join(code.lower())
    hyphened = "-".join(code)
    assert code_key(spaced) == code_key(hyphened) == code_key(code)
    assert code_key(code.replace("0", "O").replace("1", "l")) == code_key(code)
