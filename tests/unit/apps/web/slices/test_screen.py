"""The page of a series, its views and its voxels, asked by HTTP."""

import json
from typing import Any

import httpx
import numpy as np
import pytest

from hipwright.domain.keeping import Image
from tests.slices_room import HEADS, NECK, SHAPE, SlicesRoom, drawn_codes, drawn_ct, drawn_mr, grid
from tests.web_house import PAGE, WebHouse, add_person

DESK = "desk-for-looking"


def facts_of(page: str) -> dict[str, Any]:
    begun = page.index('id="slices-facts">') + len('id="slices-facts">')
    return json.loads(page[begun : page.index("</script>", begun)])


def opened(client: httpx.Client, series: Image) -> list[dict[str, Any]]:
    """Wait until a series is open, as the screen does."""
    for _ in range(200):
        answer = client.get(f"/slices/{series.id}/volume")
        if answer.status_code != 202:
            assert answer.status_code == 200, answer.text
            return answer.json()["blocks"]
        assert {"message", "done", "total"} <= answer.json().keys()
    raise AssertionError("the series never opened")


def view_of(block: dict[str, Any], direction: str) -> dict[str, Any]:
    return next(view for view in block["views"] if view["direction"] == direction)


def test_the_page_holds_the_series_its_labels_axes_and_the_caution(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    page = inside.get(f"/slices/{room.ct.id}?case={room.ct_case.code}", headers=PAGE)
    assert page.status_code == 200
    assert "Not a medical device" in page.text
    facts = facts_of(page.text)
    assert (facts["case"], facts["side"], facts["modality"]) == (room.ct_case.code, "left", "CT")
    assert facts["hasLabels"]
    assert [row["words"] for row in facts["legend"]][:2] == ["Right hip bone", "Left hip bone"]
    assert len({row["color"] for row in facts["legend"]}) == 8
    left = facts["axes"][0]
    assert (left["side"], left["from"]) == ("left", "from the bone models")
    np.testing.assert_allclose(
        [left["head"], left["neck"]], [*list(HEADS.values())[1:2], *list(NECK.values())[1:2]]
    )


def test_an_mr_page_has_findings_and_no_bone_models(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    page = inside.get(f"/slices/{room.mr.id}", headers=PAGE).text
    assert "Labral lesion, Czerny stage" in page
    assert "Make bone models" not in page
    assert facts_of(page)["axes"] == []
    assert (
        page.index("Labral lesion")
        < page.index("Cartilage of the socket")
        < page.index("Cyst beside the labrum")
    )


def test_the_case_page_leads_to_the_slices(room: SlicesRoom, inside: httpx.Client) -> None:
    page = inside.get(f"/cases/{room.ct_case.code}", headers=PAGE).text
    assert f"/slices/{room.ct.id}?case={room.ct_case.code}" in page


def test_a_film_is_no_series(house: WebHouse, inside: httpx.Client) -> None:
    case = add_person(house.opened, number="X-77")[0]
    film = house.opened.keeper.images_of(case.person)[0]
    refused = inside.get(f"/slices/{film.id}")
    assert refused.status_code == 404
    assert "needs a series of slices" in refused.json()["error"]["message"]
    assert inside.get(f"/slices/{'0' * 32}").status_code == 404


def test_views_tell_where_they_lie(room: SlicesRoom, inside: httpx.Client) -> None:
    (block,) = opened(inside, room.ct)
    assert (block["modality"], block["unit"]) == ("CT", "HU")
    assert [w["name"] for w in block["windows"]] == [
        "Bone",
        "Soft tissue",
        "Joint space",
        "Whole range",
    ]
    assert block["notes"] == []
    coronal = view_of(block, "coronal")
    assert (coronal["columns"], coronal["rows"], coronal["count"]) == (120, 40, 90)
    assert coronal["letters"] == {"left": "R", "right": "L", "top": "H", "bottom": "F"}
    assert coronal["stepMm"] == pytest.approx(1.5)


def test_pictures_hold_the_values_of_their_places(room: SlicesRoom, inside: httpx.Client) -> None:
    opened(inside, room.ct)
    hu = drawn_ct().hu
    axial = inside.get(f"/slices/{room.ct.id}/cuts/0/axial/7?count=3")
    assert "content-encoding" not in axial.headers
    shown = np.frombuffer(axial.content, "<i2").reshape(3, 90, 120)
    np.testing.assert_array_equal(shown, hu[7:10])
    coronal = inside.get(f"/slices/{room.ct.id}/cuts/0/coronal/31").content
    np.testing.assert_array_equal(np.frombuffer(coronal, "<i2").reshape(40, 120), hu[::-1, 31])
    sagittal = inside.get(f"/slices/{room.ct.id}/cuts/0/sagittal/88").content
    np.testing.assert_array_equal(np.frombuffer(sagittal, "<i2").reshape(40, 90), hu[::-1, :, 88])
    # What is asked for beyond the last slice ends there.
    last = inside.get(f"/slices/{room.ct.id}/cuts/0/axial/38?count=8").content
    assert len(last) == 2 * 2 * 90 * 120


def test_a_coronal_mr_series_is_shown_upright_in_every_view(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    (block,) = opened(inside, room.mr)
    assert [w["name"] for w in block["windows"]] == ["Usual", "Cartilage", "Whole range"]
    values = drawn_mr().values
    first = inside.get(f"/slices/{room.mr.id}/cuts/0/coronal/20").content
    np.testing.assert_array_equal(np.frombuffer(first, "<i2").reshape(40, 60), values[20])
    assert view_of(block, "axial")["letters"]["top"] == "A"
    top = inside.get(f"/slices/{room.mr.id}/cuts/0/axial/0").content
    np.testing.assert_array_equal(np.frombuffer(top, "<i2").reshape(90, 60), values[:, -1])


def test_labels_are_those_of_the_newest_bone_models(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    opened(inside, room.ct)
    shown = inside.get(f"/slices/{room.ct.id}/codes/0/axial/19?count=2&desk={DESK}").content
    np.testing.assert_array_equal(
        np.frombuffer(shown, np.uint8).reshape(2, 90, 120), drawn_codes()[19:21]
    )
    none = inside.get(f"/slices/{room.mr.id}/codes/0/axial/19?desk={DESK}").content
    assert not any(none)


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("cuts/0/axial/40", "slice 41"),
        ("cuts/1/axial/0", "block 2"),
        ("codes/0/axial/-1", "slice 0"),
    ],
)
def test_what_is_not_there_is_refused(
    address: str, words: str, room: SlicesRoom, inside: httpx.Client
) -> None:
    refused = inside.get(f"/slices/{room.ct.id}/{address}")
    assert refused.status_code == 404
    assert words in refused.json()["error"]["message"]


def test_planes_around_the_neck_show_the_head_in_their_middle(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    head, neck = (
        ",".join(map(str, places)) for places in (list(HEADS.values())[1], list(NECK.values())[1])
    )
    answer = inside.get(f"/slices/{room.ct.id}/radial/0?head={head}&neck={neck}&planes=12")
    side = int(answer.headers["radial-side"])
    size = side * side
    values = np.frombuffer(answer.content[: 24 * size], "<i2").reshape(12, side, side)
    codes = np.frombuffer(answer.content[24 * size :], np.uint8).reshape(12, side, side)
    middle = side // 2
    assert (codes[:, middle, middle] == 4).all()  # the left femur
    step = float(answer.headers["radial-step"])
    at_edge = round(18.5 / step)  # in the bright shell of the head, straight up at 12
    assert values[0, middle - at_edge, middle] > 700
    # The neck runs to the patient's left, so to the right of every picture.
    assert (codes[:, middle, middle + round(30 / step)] == 4).all()


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("head=1,2&neck=1,2,3", 404, "three numbers"),
        ("head=1,2,x&neck=1,2,3", 404, "three numbers"),
        ("head=1,2,3&neck=1,2,3.1", 422, "0.1 mm from the middle of the neck"),
    ],
)
def test_an_axis_that_is_none_is_told(
    query: str, status: int, words: str, room: SlicesRoom, inside: httpx.Client
) -> None:
    refused = inside.get(f"/slices/{room.ct.id}/radial/0?{query}")
    assert refused.status_code == status
    assert words in refused.json()["error"]["message"]


def test_the_grid_of_the_test_is_the_one_that_was_read(
    room: SlicesRoom, inside: httpx.Client
) -> None:
    (block,) = opened(inside, room.ct)
    axial = view_of(block, "axial")
    np.testing.assert_allclose(axial["origin"], grid().origin_mm, atol=1e-3)
    assert (axial["count"], axial["rows"], axial["columns"]) == SHAPE
