"""Edits by HTTP: made at once, undone, kept as versions, settled when two people edit."""

from typing import Any

import httpx
import numpy as np
import pytest

from hipwright.adapters.bone_files.labeling import edits_from
from hipwright.domain.anatomy import Bone
from hipwright.domain.side import Side
from hipwright.domain.volume import LabelEdits
from tests.slices_room import HEADS, SlicesRoom, drawn_codes
from tests.web_house import WebHouse

HEAD = list(HEADS[Side.LEFT])
FREE = [0.0, 0.0, -1.5]
"""In slice 19, between the heads, where no label is."""


def edit(client: httpx.Client, room: SlicesRoom, desk: str, **what: Any) -> httpx.Response:
    return client.post(f"/slices/{room.ct.id}/edits/0", json={"desk": desk, "edit": what})


def stroke(**more: Any) -> dict[str, Any]:
    return {
        "how": "disc",
        "direction": "axial",
        "index": 19,
        "path": [FREE],
        "radius": 4,
        "code": 4,
        **more,
    }


def codes(client: httpx.Client, room: SlicesRoom, desk: str, **query: Any) -> np.ndarray:
    answer = client.get(
        f"/slices/{room.ct.id}/codes/0/axial/0", params={"count": 32, "desk": desk, **query}
    )
    return np.frombuffer(answer.content, np.uint8).reshape(32, 90, 120)


def keep(client: httpx.Client, room: SlicesRoom, desk: str, version: int) -> httpx.Response:
    return client.post(
        f"/slices/{room.ct.id}/edits/0/keep", json={"desk": desk, "expected_version": version}
    )


def kept(house: WebHouse, room: SlicesRoom) -> tuple[LabelEdits, int]:
    found = house.opened.keeper.label_edits_of(room.ct.id)
    assert found is not None
    return edits_from(house.opened.keeper.get_file(found.edits_file)), found.version


def version_of(house: WebHouse, room: SlicesRoom) -> int:
    found = house.opened.keeper.label_edits_of(room.ct.id)
    return 0 if found is None else found.version


def test_a_stroke_is_shown_undone_and_done_again(room: SlicesRoom, inside: httpx.Client) -> None:
    before = codes(inside, room, "desk-stroke")
    state = edit(inside, room, "desk-stroke", **stroke()).json()
    assert (state["dirty"], state["canUndo"], state["canRedo"]) == (True, True, False)
    after = codes(inside, room, "desk-stroke")
    changed = np.argwhere(after != before)
    assert state["voxels"] >= len(changed) > 10
    assert set(after[after != before]) == {4}
    assert len(set(changed[:, 0])) == 1  # a disc stays in its slice
    state = edit(inside, room, "desk-stroke", how="undo").json()
    assert (state["voxels"], state["canRedo"]) == (0, True)
    np.testing.assert_array_equal(codes(inside, room, "desk-stroke"), before)
    edit(inside, room, "desk-stroke", how="redo")
    np.testing.assert_array_equal(codes(inside, room, "desk-stroke"), after)
    looked = inside.get(f"/slices/{room.ct.id}/edits/0?desk=desk-stroke").json()
    assert looked["state"] == 3


def test_eraser_ball_outline_and_gap_do_what_they_say(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    desk = "desk-shapes"
    before = codes(inside, room, desk)
    edit(inside, room, desk, **stroke(how="ball", path=[HEAD], code=0, radius=6))
    hole = codes(inside, room, desk)
    gone = np.argwhere((before != 0) & (hole == 0))
    assert len(set(gone[:, 0])) > 2  # a ball reaches through slices
    assert set(before[tuple(gone.T)]) == {Bone.FEMUR_LEFT.code}
    filled = edit(
        inside, room, desk, **stroke(how="region", path=[HEAD], index=19, code=Bone.OTHER.code)
    )
    assert filled.status_code == 200
    assert (codes(inside, room, desk)[19] == Bone.OTHER.code).sum() > 0
    square = [[-9.0, -9, -1.5], [9.0, -9, -1.5], [9.0, 9, -1.5], [-9.0, 9, -1.5]]
    edit(inside, room, desk, **stroke(how="outline", path=square, code=Bone.SACRUM.code))
    drawn = codes(inside, room, desk) == Bone.SACRUM.code
    assert drawn.sum() == 12 * 12  # 18 mm at 1.5 mm
    open_region = edit(inside, room, desk, **stroke(how="region", path=[[0, -40, -1.5]]))
    assert open_region.status_code == 422
    assert "border of the picture" in open_region.json()["error"]["message"]


def test_cuts_and_seeds_are_marks_that_can_be_taken_away(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    desk = "desk-marks"
    line = [[40.0, 0.0, 22.0], [70.0, 0.0, 22.0]]
    edit(inside, room, desk, how="cut", direction="coronal", path=line)
    state = edit(inside, room, desk, how="seed", at=HEAD, code=4).json()
    (cut,) = state["cutList"]
    np.testing.assert_allclose(cut["center"], [55.0, 0.0, 22.0])
    np.testing.assert_allclose(np.abs(cut["normal"]), [0, 0, 1], atol=1e-9)
    assert cut["radius"] == pytest.approx(15.0)
    assert state["seedList"] == [{"at": HEAD, "code": 4}]
    state = edit(inside, room, desk, how="remove", kind="cut", number=0).json()
    assert (state["cuts"], state["seeds"]) == (0, 1)
    state = edit(inside, room, desk, how="remove", kind="seed", number=0).json()
    assert state["seeds"] == 0
    short = edit(inside, room, desk, how="cut", direction="axial", path=[FREE, [0.5, 0, -1.5]])
    assert short.status_code == 422
    assert "a line of 0.5 mm" in short.json()["error"]["message"]


def test_kept_edits_are_a_version_and_come_back_on_another_page(
    house: WebHouse, room: SlicesRoom, inside: httpx.Client
) -> None:
    version = version_of(house, room)
    edit(inside, room, "desk-keeps", **stroke())
    state = keep(inside, room, "desk-keeps", version).json()
    assert (state["version"], state["dirty"]) == (version + 1, False)
    edits, newest = kept(house, room)
    assert newest == version + 1
    assert set(edits.codes) == {4}
    fresh = codes(inside, room, "desk-afresh")
    np.testing.assert_array_equal(fresh, codes(inside, room, "desk-keeps"))
    assert (fresh != drawn_codes()[:32]).sum() > 10


def test_of_two_people_who_edit_the_second_is_shown_both_and_nothing_is_lost(
    house: WebHouse, room: SlicesRoom, inside: httpx.Client
) -> None:
    version = version_of(house, room)
    for desk in ("desk-mine", "desk-theirs"):
        inside.get(f"/slices/{room.ct.id}/edits/0?desk={desk}")
    edit(inside, room, "desk-theirs", how="seed", at=HEAD, code=4)
    assert keep(inside, room, "desk-theirs", version).status_code == 200
    edit(inside, room, "desk-mine", **stroke(path=[[0, 20, -1.5]], code=2))
    stale = keep(inside, room, "desk-mine", version)
    assert stale.status_code == 409
    body = stale.json()
    assert body["error"]["code"] == "stale_write"
    assert body["theirs"]["version"] == version + 1
    assert (body["theirs"]["seeds"], body["mine"]["seeds"]) == (1, 0)
    mine = codes(inside, room, "desk-mine")
    theirs = codes(inside, room, "desk-mine", whose="kept")
    assert (mine != theirs).any()
    settled = inside.post(
        f"/slices/{room.ct.id}/edits/0/settle", json={"desk": "desk-mine", "choice": "both"}
    ).json()
    assert (settled["version"], settled["dirty"]) == (version + 2, False)
    edits, _ = kept(house, room)
    assert len(edits.seeds) == 1
    assert 2 in edits.codes


@pytest.mark.parametrize(
    ("choice", "added", "has_mine"), [("mine", 1, True), ("theirs", 2, False)]
)
def test_mine_or_theirs_can_be_taken_and_the_other_stays_a_version(
    choice: str,
    added: int,
    has_mine: bool,
    house: WebHouse,
    room: SlicesRoom,
    inside: httpx.Client,
) -> None:
    one, two = f"desk-one-{choice}", f"desk-two-{choice}"
    for desk in (one, two):
        inside.get(f"/slices/{room.ct.id}/edits/0?desk={desk}")
    version = version_of(house, room)
    edit(inside, room, two, **stroke(path=[[0, -20, -1.5]], code=1 if has_mine else 3))
    keep(inside, room, two, version)
    edit(inside, room, one, **stroke(path=[[0, -30, -1.5]], code=5 if has_mine else 6))
    assert keep(inside, room, one, version).status_code == 409
    inside.post(f"/slices/{room.ct.id}/edits/0/settle", json={"desk": one, "choice": choice})
    edits, newest = kept(house, room)
    assert newest == version + 1 + added
    assert ((5 if has_mine else 6) in edits.codes) is has_mine


@pytest.mark.parametrize(
    "wrong",
    [
        {"how": "disc"},
        {"how": "paint"},
        stroke(code=9),
        stroke(path=[]),
        stroke(path=[[0, 0, 1e9]]),
        stroke(radius=0),
        {**stroke(), "more": 1},
    ],
)
def test_an_edit_that_is_none_is_refused(
    wrong: dict[str, Any], room: SlicesRoom, inside: httpx.Client
) -> None:
    body = {"desk": "desk-wrong", "edit": wrong}
    assert inside.post(f"/slices/{room.ct.id}/edits/0", json=body).status_code == 422
