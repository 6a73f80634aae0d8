"""Findings and axes, kept as graded readings with the hours they take up."""

import httpx
import pytest

from hipwright.apps.web.slices.findings import HALF_HOURS, hour_words
from hipwright.domain.keeping import GradedReading
from tests.slices_room import HEADS, NECK, SlicesRoom
from tests.unit.apps.web.slices.test_screen import facts_of
from tests.web_house import PAGE, WebHouse


def save(client: httpx.Client, room: SlicesRoom, **fields: str) -> httpx.Response:
    form = {"case": room.mr_case.code, "reader": "AB", **fields}
    return client.post(f"/slices/{room.mr.id}/findings", data=form)


def found(house: WebHouse, room: SlicesRoom, definition: str) -> list[GradedReading]:
    grades = house.opened.keeper.grades_of(room.mr_case.id)
    return [grade for grade in grades if grade.definition == definition]


def test_hours_are_written_as_a_clock_shows_them() -> None:
    assert [hour_words(h) for h in (12, 0.5, 2.25, 11.99, 0)] == [
        "12:00",
        "12:30",
        "2:15",
        "11:59",
        "12:00",
    ]
    assert HALF_HOURS[:3] == (("12", "12:00"), ("0.5", "12:30"), ("1", "1:00"))
    assert len({words for _, words in HALF_HOURS}) == 24


def test_a_finding_is_kept_with_its_hours_and_told_in_words(
    house: WebHouse, room: SlicesRoom, inside: httpx.Client
) -> None:
    answer = save(
        inside,
        room,
        definition="labral_lesion.czerny",
        value="IIA",
        **{"detail.clock_from": "0.5", "detail.clock_to": "2.5"},
    )
    assert answer.status_code == 200
    assert "Labral lesion, Czerny stage: kept." in answer.text
    (grade,) = found(house, room, "labral_lesion.czerny")
    assert (grade.value, grade.image, grade.observer) == ("IIA", room.mr.id, "human:AB")
    assert grade.details == {"clock_from": 0.5, "clock_to": 2.5}
    page = inside.get(f"/slices/{room.mr.id}", headers=PAGE).text
    assert "12:30 to 2:30." in page
    assert '"from": 0.5' in page
    case = inside.get(f"/cases/{room.mr_case.code}", headers=PAGE).text
    assert "IIA" in case


def test_cartilage_is_graded_by_zone_and_cysts_may_lie_in_two_places(
    house: WebHouse, room: SlicesRoom, inside: httpx.Client
) -> None:
    answer = save(
        inside,
        room,
        definition="acetabular_cartilage.outerbridge",
        value="3",
        **{"detail.zone_2": "3", "detail.zone_3": "1"},
    )
    assert "Zone 2 (anterosuperior) 3, zone 3 (central superior) 1." in answer.text
    save(
        inside,
        room,
        definition="paralabral_cyst",
        value="present",
        **{
            "detail.diameter": "6,5",
            "detail.clock_from": "1",
            "detail.clock_to": "1.5",
            "detail.clock_from_2": "9",
            "detail.clock_to_2": "10",
        },
    )
    (cyst,) = found(house, room, "paralabral_cyst")
    assert cyst.details["diameter"] == 6.5
    page = inside.get(f"/slices/{room.mr.id}", headers=PAGE).text
    assert "1:00 to 1:30, 9:00 to 10:00, largest diameter 6.5 mm." in page


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"detail.clock_from": "1"}, "both hours"),
        ({"detail.clock_to": "1"}, "both hours"),
        ({"detail.clock_from": "1", "detail.clock_to": "1"}, "a point, 1:00"),
        ({"detail.clock_from": "13", "detail.clock_to": "1"}, "from 0 to 12"),
        ({"value": "IV"}, "one of 0, IA"),
        ({"case": "ZZZ-ZZZ", "reader": "a b", "value": "IV"}, "cannot keep the grade"),
    ],
)
def test_a_finding_that_is_none_is_refused_and_nothing_is_kept(
    fields: dict[str, str], words: str, house: WebHouse, room: SlicesRoom, inside: httpx.Client
) -> None:
    before = len(house.opened.keeper.grades_of(room.mr_case.id))
    answer = save(inside, room, **{"definition": "labral_lesion.czerny", "value": "IA", **fields})
    assert answer.status_code == 422
    assert words in answer.text
    assert len(house.opened.keeper.grades_of(room.mr_case.id)) == before


def test_an_axis_is_kept_and_comes_back(
    house: WebHouse, room: SlicesRoom, inside: httpx.Client
) -> None:
    head, neck = (list(places.values())[1] for places in (HEADS, NECK))
    body = {"case": room.mr_case.code, "head": head, "neck": neck, "sure": "unsure"}
    with house.client() as nobody:
        refused = nobody.post(f"/slices/{room.mr.id}/axis", json=body)
        assert refused.status_code == 422
        assert "a reader's code" in refused.json()["error"]["message"]
    inside.post("/films/reader", json={"code": "AB"})
    assert inside.post(f"/slices/{room.mr.id}/axis", json=body).json() == {"kept": True}
    (grade,) = found(house, room, "radial_axis")
    assert grade.value == "unsure"
    (axis,) = facts_of(inside.get(f"/slices/{room.mr.id}", headers=PAGE).text)["axes"]
    assert axis == {"side": "left", "head": list(head), "neck": list(neck), "from": "placed by AB"}
    wrong = inside.post(f"/slices/{room.mr.id}/axis", json={**body, "head": [1, 2]})
    assert wrong.status_code == 422
