"""Saving a reading: checked first, then kept as a new version, then measured."""

from __future__ import annotations

from dataclasses import replace

import pytest

from hipwright.domain.errors import HipwrightError, LandmarkError, SideError, StaleWriteError
from hipwright.domain.keeping import Laterality
from hipwright.domain.landmarks import PlacedPoint
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.workflows.save_reading import save_reading
from tests.analytic_cases import KeptCase, keep_case, perfect_reading
from tests.contract.fakes import MemoryKeeper


@pytest.fixture
def keeper() -> MemoryKeeper:
    return MemoryKeeper()


@pytest.fixture
def kept(keeper: MemoryKeeper) -> KeptCase:
    return keep_case(keeper, "ap", "dunn", "false_profile")


def test_a_saved_reading_comes_back_with_what_it_measures(
    keeper: MemoryKeeper, kept: KeptCase
) -> None:
    saved = save_reading(keeper, kept.case, kept.images["ap"], perfect_reading(kept, "ap"))
    assert saved.reading is not None
    assert saved.reading.version == 1
    assert keeper.readings_of(kept.images["ap"].id) == [saved.reading]
    sides = {f.side for f in saved.findings if isinstance(f, Measurement)}
    assert sides == {Side.LEFT, Side.RIGHT, None}


def test_a_film_of_one_hip_measures_that_hip_only(keeper: MemoryKeeper, kept: KeptCase) -> None:
    saved = save_reading(keeper, kept.case, kept.images["dunn"], perfect_reading(kept, "dunn"))
    assert {f.side for f in saved.findings if isinstance(f, Measurement)} == {Side.LEFT}


def test_saving_again_makes_the_next_version(keeper: MemoryKeeper, kept: KeptCase) -> None:
    image, landmarks = kept.images["ap"], perfect_reading(kept, "ap")
    save_reading(keeper, kept.case, image, landmarks)
    moved = landmarks.replacing([replace(landmarks.points[0], x_px=150.0)])
    again = save_reading(keeper, kept.case, image, moved)
    assert again.reading is not None
    assert again.reading.version == 2
    history = keeper.reading_history(image.id, landmarks.observer, 1)
    assert [kept.version for kept in history] == [1, 2]


def test_a_writer_who_has_seen_an_older_version_is_refused_and_loses_nothing(
    keeper: MemoryKeeper, kept: KeptCase
) -> None:
    image, landmarks = kept.images["ap"], perfect_reading(kept, "ap")
    save_reading(keeper, kept.case, image, landmarks)
    moved = landmarks.replacing([replace(landmarks.points[0], x_px=150.0)])
    with pytest.raises(StaleWriteError) as caught:
        save_reading(keeper, kept.case, image, moved, expected_version=0)
    assert caught.value.offered is moved
    (reading,) = keeper.readings_of(image.id)
    assert reading.landmarks.points == landmarks.points


@pytest.mark.parametrize("name", ["nose", "coccyx_tip"])
def test_of_a_refused_reading_nothing_is_kept(
    keeper: MemoryKeeper, kept: KeptCase, name: str
) -> None:
    wrong = PlacedPoint(id=name, side=Side.LEFT, x_px=1.0, y_px=1.0)
    with pytest.raises(LandmarkError, match=name):
        save_reading(
            keeper,
            kept.case,
            kept.images["ap"],
            perfect_reading(kept, "ap").replacing([wrong]),
        )
    assert keeper.readings_of(kept.images["ap"].id) == []


def test_landmarks_of_a_hip_that_the_film_does_not_show_are_refused(
    keeper: MemoryKeeper, kept: KeptCase
) -> None:
    turned = replace(kept.images["dunn"], laterality=Laterality.RIGHT)
    with pytest.raises(SideError) as caught:
        save_reading(keeper, kept.case, turned, perfect_reading(kept, "dunn"))
    assert "left" in caught.value.found
    assert "right" in caught.value.needed
    assert keeper.readings_of(turned.id) == []


def test_the_other_head_on_a_false_profile_is_no_contradiction(
    keeper: MemoryKeeper, kept: KeptCase
) -> None:
    landmarks = perfect_reading(kept, "false_profile")
    assert {item.side for item in landmarks} == {Side.LEFT, Side.RIGHT}
    save_reading(keeper, kept.case, kept.images["false_profile"], landmarks)


def test_a_reading_of_another_persons_film_is_refused(
    keeper: MemoryKeeper, kept: KeptCase
) -> None:
    other = keep_case(keeper, "ap")
    with pytest.raises(HipwrightError):
        save_reading(keeper, kept.case, other.images["ap"], perfect_reading(other, "ap"))
