"""Left, right, and what each picture shows."""

import pytest

from hipwright.domain.errors import SideError
from hipwright.domain.keeping import Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import VIEW_NAMES, View


@pytest.mark.parametrize(
    ("text", "side"),
    [("left", Side.LEFT), ("L", Side.LEFT), (" Right ", Side.RIGHT), ("r", Side.RIGHT)],
)
def test_a_side_is_read_in_words_or_as_dicom_writes_it(text: str, side: Side) -> None:
    assert Side.parse(text) is side


@pytest.mark.parametrize("text", ["", "both", "links", "lr"])
def test_what_names_no_side_is_refused(text: str) -> None:
    with pytest.raises(SideError) as caught:
        Side.parse(text)
    assert caught.value.field == "side"
    assert repr(text) in caught.value.found


def test_the_opposite_of_the_opposite_is_the_side_itself() -> None:
    assert [side.opposite.opposite for side in Side] == list(Side)
    assert Side.LEFT.opposite is Side.RIGHT
    assert str(Side.LEFT) == "left"


@pytest.mark.parametrize("side", list(Side))
def test_an_image_of_both_or_of_nobody_knows_shows_either_hip(side: Side) -> None:
    assert Laterality.BOTH.shows(side)
    assert Laterality.UNKNOWN.shows(side)
    assert Laterality(side.value).shows(side)
    assert not Laterality(side.opposite.value).shows(side)


def test_every_view_has_a_name_and_only_slices_are_no_films() -> None:
    assert set(VIEW_NAMES) == set(View)
    assert {view for view in View if not view.is_film} == {View.CT, View.MR}
    assert [view for view in View if view.shows_both_hips] == [View.PELVIS_AP]
