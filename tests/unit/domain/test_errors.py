"""An error says what could not be done, what was found, what was needed and what to do next."""

import inspect

import pytest

from hipwright.domain import errors
from hipwright.domain.errors import HipwrightError, KeepingError, StaleWriteError

TREE = [
    kind
    for _, kind in inspect.getmembers(errors, inspect.isclass)
    if issubclass(kind, HipwrightError) and kind is not StaleWriteError
]


def test_the_four_parts_make_a_sentence_and_stay_on_the_error() -> None:
    error = HipwrightError(
        "cannot measure the hip",
        needed="3 points",
        found="2 points",
        next_step="Place one more.",
        field="femoral_head",
    )
    said = "cannot measure the hip: needs 3 points, but found 2 points. Place one more."
    assert str(error) == said
    assert (error.what, error.found, error.needed) == (
        "cannot measure the hip",
        "2 points",
        "3 points",
    )
    assert (error.next_step, error.field) == ("Place one more.", "femoral_head")


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({}, "cannot do it."),
        ({"found": "rain"}, "cannot do it: found rain."),
        ({"needed": "sun"}, "cannot do it: needs sun."),
        ({"next_step": "Wait."}, "cannot do it. Wait."),
    ],
)
def test_parts_that_are_not_told_leave_no_gap(parts: dict[str, str], said: str) -> None:
    assert str(HipwrightError("cannot do it", **parts)) == said


@pytest.mark.parametrize("kind", TREE, ids=lambda kind: kind.__name__)
def test_every_error_is_drawn_in_the_tree_under_a_code_of_its_own(
    kind: type[HipwrightError],
) -> None:
    assert kind.__name__ in (errors.__doc__ or "")
    assert [other for other in TREE if other.code == kind.code] == [kind]
    assert isinstance(kind("cannot do it"), HipwrightError)


def test_a_stale_write_shows_both_values() -> None:
    error = StaleWriteError("cannot save it", kept=1, offered=2, found="version 3", field="x")
    assert (error.kept, error.offered, error.code) == (1, 2, "stale_write")
    assert isinstance(error, KeepingError)
    assert "found version 3" in str(error)
