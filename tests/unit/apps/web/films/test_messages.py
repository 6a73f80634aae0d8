"""What travels between the screen and the server."""

import asyncio
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from hipwright.apps.web.films.live import Mailbox
from hipwright.apps.web.films.messages import (
    Dropped,
    Item,
    Moved,
    items_of,
    landmark_set,
)
from hipwright.catalog import load
from hipwright.domain.errors import CatalogError, LandmarkError
from hipwright.domain.side import Side

IDS = st.sampled_from(["a", "b", "c"])
ITEMS = st.builds(Item, id=IDS, side=st.sampled_from(["left", None]), xy=st.just(((1.0, 2.0),)))
DROPS = st.builds(Dropped, id=IDS, side=st.sampled_from(["left", None]))
MESSAGES = st.builds(
    Moved,
    seq=st.integers(1, 9),
    items=st.lists(ITEMS, max_size=3, unique_by=lambda i: i.key).map(tuple),
    dropped=st.lists(DROPS, max_size=2).map(tuple),
    all=st.booleans(),
)


def applied(state: dict[object, Item], moved: Moved) -> dict[object, Item]:
    """What a screen's message does to what is placed: the meaning that merging must keep."""
    after = {} if moved.all else dict(state)
    for drop in moved.dropped:
        after.pop((drop.id, drop.side), None)
    after.update({item.key: item for item in moved.items})
    return after


@given(first=MESSAGES, second=MESSAGES, start=st.lists(ITEMS, max_size=4))
def test_two_merged_messages_do_what_both_would_do_one_after_the_other(
    first: Moved, second: Moved, start: list[Item]
) -> None:
    state: dict[object, Item] = {item.key: item for item in start}
    assert applied(state, first.then(second)) == applied(applied(state, first), second)


def test_a_mailbox_gives_what_waited_as_one_message() -> None:
    async def story() -> list[Moved | None]:
        mailbox = Mailbox()
        for seq in range(1, 6):
            mailbox.put(Moved(seq=seq, items=(Item(id="a", xy=((float(seq), 0.0),)),)))
        first = await mailbox.take()
        assert await mailbox.stays_empty(0.01)
        mailbox.put(Moved(seq=9))
        assert not await mailbox.stays_empty(10.0)
        await mailbox.take()
        mailbox.close()
        return [first, await mailbox.take()]

    first, second = asyncio.run(story())
    assert first is not None
    assert (first.seq, first.items[0].xy) == (5, ((5.0, 0.0),))
    assert second is None


@pytest.mark.parametrize(
    "text",
    [
        '{"seq": 1, "items": [{"id": "a", "xy": [[NaN, 0]]}]}',
        '{"seq": 1, "items": [{"id": "a", "xy": [[Infinity, 0]]}]}',
        '{"seq": 1, "items": [{"id": "a", "side": "top", "xy": [[0, 0]]}]}',
        '{"seq": 1, "more": true}',
        "[]",
        json.dumps({"seq": 1, "items": [{"id": "a", "xy": [[0, 0]] * 501}]}),
    ],
)
def test_a_message_that_makes_no_sense_is_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        Moved.model_validate_json(text)


def test_landmarks_that_lack_clicks_do_not_count_yet() -> None:
    items = (
        Item(id="femoral_head", side="left", xy=((1, 1), (2, 2))),
        Item(id="head_neck_contour", side="left", xy=((1, 1),)),
        Item(id="sourcil_lateral_edge", side="left", xy=()),
        Item(id="symphysis_superior", xy=((5, 6),)),
    )
    made = landmark_set(items, image="f", observer="human:x", reading=1, catalog=load())
    assert [item.id for item in made] == ["symphysis_superior"]


def test_a_reading_comes_back_as_it_went() -> None:
    items = (
        Item(id="femoral_head", side="left", xy=((1, 1), (9, 2), (4, 8))),
        Item(id="sourcil_lateral_edge", side="right", xy=((3.5, 4.25),), sd=0.7),
    )
    made = landmark_set(items, image="f", observer="human:x", reading=2, catalog=load())
    assert made.contour("femoral_head", Side.LEFT) is not None
    assert sorted(items_of(made), key=lambda i: i.id) == sorted(items, key=lambda i: i.id)


def test_an_unknown_or_doubled_landmark_is_refused() -> None:
    place = ((1.0, 2.0),)
    with pytest.raises(CatalogError):
        landmark_set(
            (Item(id="knee", xy=place),), image="f", observer="o", reading=1, catalog=load()
        )
    twice = (Item(id="symphysis_superior", xy=place),) * 2
    with pytest.raises(LandmarkError):
        landmark_set(twice, image="f", observer="o", reading=1, catalog=load())
