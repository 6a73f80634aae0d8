"""The addresses of the Films screen, asked by HTTP and by socket."""

import json
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect

from hipwright.apps.web.films.messages import items_of
from hipwright.apps.web.showing.words import day
from hipwright.domain.keeping import Case, Image
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.engines.reporting.numbers import interval_in_words
from hipwright.workflows.measure_hip import measure_landmarks
from hipwright.workflows.reading_doubt import circumstances_of
from tests.web_house import PAGE, WebHouse, add_person, landmarks, open_house


@pytest.fixture(scope="module")
def case(house: WebHouse) -> Case:
    return add_person(house.opened)[0]


@pytest.fixture(scope="module")
def film(house: WebHouse, case: Case) -> Image:
    return house.opened.keeper.images_of(case.person)[0]


def facts_of(page: str) -> dict[str, Any]:
    begun = page.index('id="film-facts">') + len('id="film-facts">')
    return json.loads(page[begun : page.index("</script>", begun)])


def test_the_page_holds_the_film_its_landmarks_and_the_caution(
    case: Case, film: Image, inside: httpx.Client
) -> None:
    page = inside.get(f"/films/{film.id}?case={case.code}", headers=PAGE)
    assert page.status_code == 200
    assert "Not a medical device" in page.text
    facts = facts_of(page.text)
    assert (facts["case"], facts["columns"], facts["sides"]) == (case.code, 400, ["left", "right"])
    order = [landmark["id"] for landmark in facts["landmarks"] if landmark["used"]]
    assert order[0] == "femoral_head"
    assert "calibration_ball" not in order


def test_a_reader_finds_the_own_reading_and_looks_at_anothers(
    film: Image, inside: httpx.Client
) -> None:
    address = f"/films/{film.id}"
    assert inside.post("/films/reader", json={"code": "AB"}).status_code == 200
    mine = facts_of(inside.get(address, headers=PAGE).text)
    assert (mine["observer"], mine["current"]["version"]) == ("human:AB", 1)
    assert mine["lookedAt"] is None
    again = facts_of(inside.get(f"{address}?reading=2", headers=PAGE).text)
    assert (again["reading"], again["current"], again["lookedAt"]) == (2, None, None)
    inside.post("/films/reader", json={"code": "CD"})
    page = inside.get(address, headers=PAGE).text
    theirs = facts_of(page)
    assert (theirs["current"], theirs["lookedAt"]["observer"]) == (None, "human:AB")
    assert "Continue as AB" in page
    assert "Read it yourself as CD" in page
    blind = facts_of(inside.get(f"{address}?reading=1", headers=PAGE).text)
    assert (blind["current"], blind["lookedAt"]) == (None, None)


def test_where_one_person_has_read_everything_a_new_session_goes_on_as_them(
    tmp_path: Path,
) -> None:
    with open_house(tmp_path) as house, house.client() as inside:
        case = add_person(house.opened)[0]
        read, unread = house.opened.keeper.images_of(case.person)
        facts = facts_of(inside.get(f"/films/{read.id}", headers=PAGE).text)
        assert (facts["observer"], facts["current"]["count"]) == ("human:AB", 4)
        assert facts_of(inside.get(f"/films/{unread.id}", headers=PAGE).text)["current"] is None


@pytest.mark.parametrize("invented", [True, False])
def test_of_several_readers_a_new_session_goes_on_as_the_last_only_among_invented_people(
    tmp_path: Path, invented: bool
) -> None:
    with open_house(tmp_path) as house, house.client() as inside:
        case = add_person(house.opened, invented=invented)[0]
        keeper = house.opened.keeper
        film = keeper.images_of(case.person)[0]
        for reader in ("human:EF", "program:x"):
            keeper.save_reading(case.id, landmarks(film, reader), expected_version=0)
        facts = facts_of(inside.get(f"/films/{film.id}", headers=PAGE).text)
        if invented:
            assert (facts["observer"], facts["lookedAt"]) == ("human:EF", None)
            assert facts["current"]["observer"] == "human:EF"
        else:
            assert (facts["observer"], facts["current"]) == (None, None)
            assert facts["lookedAt"]["observer"] == "program:x"


def test_dates_are_true_and_hidden_with_the_names(house: WebHouse, inside: httpx.Client) -> None:
    person = add_person(house.opened, number="X-2002")[0].person
    film = house.opened.keeper.images_of(person)[0]
    assert film.acquired_on is not None
    true = house.opened.identity.true_date(person, film.acquired_on)
    assert true != film.acquired_on
    shifted = (film.acquired_on.isoformat(), day(film.acquired_on))
    address = f"/films/{film.id}"
    page = inside.get(address, headers=PAGE).text
    assert f"AP pelvis, {day(true)}" in page
    assert day(true) in inside.get(f"{address}/beside").json()["name"]
    inside.post("/names", data={"shown": "0"})
    hidden = inside.get(address, headers=PAGE).text
    # Born on 2 April 1990 and taken on 3 March 2020, both shifted: 29 completed years.
    assert "AP pelvis, at 29 years" in hidden
    assert "at 29 years" in inside.get(f"{address}/beside").json()["name"]
    for told in (page, hidden):
        assert not any(date in told for date in shifted)
    assert day(true) not in hidden


@pytest.mark.parametrize("code", ["", "a b", "<b>", "x" * 13, "../x"])
def test_a_reader_code_that_is_no_code_is_refused(code: str, inside: httpx.Client) -> None:
    assert inside.post("/films/reader", json={"code": code}).status_code == 422


def test_pixels_come_as_rows_that_may_be_kept_and_only_for_their_film(
    film: Image, inside: httpx.Client
) -> None:
    address = f"/films/{film.id}/pixels/{film.files[0]}"
    answer = inside.get(address)
    assert "private" in answer.headers["cache-control"]
    assert "content-encoding" not in answer.headers
    rows = np.frombuffer(answer.content, dtype="<u2").reshape(320, 400)
    # The test picture is brightest at its two discs, at 28 and 72 % of the width.
    assert rows[160, 112] > rows[10, 200]
    assert answer.headers["film-columns"] == "400"
    tagged = {"If-None-Match": answer.headers["etag"]}
    assert inside.get(address, headers=tagged).status_code == 304
    assert inside.get(f"/films/{film.id}/pixels/{'0' * 64}").status_code == 404
    assert inside.get(f"/films/{film.id}/preview/{film.files[0]}.jpg").headers["content-type"] == (
        "image/jpeg"
    )


def test_nothing_is_shown_to_who_is_not_signed_in(house: WebHouse, film: Image) -> None:
    with house.client(signed_in=False) as outside:
        for address in (
            f"/films/{film.id}",
            f"/films/{film.id}/pixels/{film.files[0]}",
            f"/films/{film.id}/preview/{film.files[0]}.jpg",
            f"/films/{film.id}/readings",
        ):
            assert outside.get(address).status_code == 401


def test_an_unknown_film_is_told_kindly(inside: httpx.Client) -> None:
    assert inside.get("/films/nothing", headers=PAGE).status_code == 404


def reading(case: Case, **changes: Any) -> dict[str, Any]:
    item = {"id": "coccyx_tip", "side": None, "xy": [[200, 210]]}
    asked = {
        "case": case.code,
        "observer": "human:EF",
        "reading": 1,
        "expected_version": 0,
        "items": [item],
    }
    return asked | changes


def test_a_reading_is_saved_with_versions_and_a_stale_one_is_told_both(
    case: Case, film: Image, inside: httpx.Client
) -> None:
    address = f"/films/{film.id}/reading"
    inside.post("/films/reader", json={"code": "EF"})
    assert inside.post(address, json=reading(case)).json()["version"] == 1
    moved = [{"id": "coccyx_tip", "side": None, "xy": [[201, 210]]}]
    second = reading(case, items=moved, expected_version=1)
    assert inside.post(address, json=second).json()["version"] == 2
    other = [{"id": "coccyx_tip", "side": None, "xy": [[205, 210]]}]
    stale = inside.post(address, json=reading(case, items=other, expected_version=1))
    assert stale.status_code == 409
    assert stale.json()["kept"]["items"][0]["xy"] == [[201, 210]]
    history = inside.get(
        f"/films/{film.id}/history", params={"observer": "human:EF", "reading": 1}
    ).json()
    assert [version["version"] for version in history] == [2, 1]


def test_a_reading_under_another_code_or_with_nonsense_is_refused(
    case: Case, film: Image, inside: httpx.Client
) -> None:
    address = f"/films/{film.id}/reading"
    inside.post("/films/reader", json={"code": "EF"})
    assert inside.post(address, json=reading(case, observer="human:AB")).status_code == 403
    beside = [{"id": "coccyx_tip", "side": None, "xy": [[9999, 210]]}]
    assert inside.post(address, json=reading(case, items=beside)).status_code == 422
    unknown = [{"id": "knee", "side": None, "xy": [[1, 1]]}]
    assert inside.post(address, json=reading(case, items=unknown)).status_code in {404, 422}


def test_a_scale_is_worked_out_first_and_kept_when_told(
    house: WebHouse, case: Case, inside: httpx.Client
) -> None:
    second = house.opened.keeper.images_of(case.person)[1]
    address = f"/films/{second.id}/scale"
    how = {"by": "points", "xy": [[0, 0], [200, 0]], "distance_mm": 100.0}
    tried = inside.post(address, json={"how": how}).json()
    assert "0.5 × 0.5 mm" in tried["scale"]["spacing"]
    assert house.opened.keeper.image(second.id).calibration.column_mm == 1.0
    kept = {"how": how, "keep": True, "expected_version": second.version}
    assert inside.post(address, json=kept).status_code == 200
    assert house.opened.keeper.image(second.id).calibration.column_mm == 0.5
    late = kept | {"how": how | {"distance_mm": 90.0}}
    assert inside.post(address, json=late).status_code == 409


def test_beside_gives_a_film_with_its_newest_reading(film: Image, inside: httpx.Client) -> None:
    shown = inside.get(f"/films/{film.id}/beside").json()
    assert shown["items"]
    assert shown["facts"]["image"] == film.id


def socket_to(house: WebHouse, inside: httpx.Client, path: str, origin: str) -> ClientConnection:
    cookie = house.state.settings.cookie
    return connect(
        f"{house.address.replace('http', 'ws')}/films/{path}",
        origin=origin,  # pyright: ignore[reportArgumentType] - any text is a possible origin
        additional_headers={"Cookie": f"{cookie}={inside.cookies[cookie]}"},
    )


def test_the_socket_answers_with_numbers(
    house: WebHouse, film: Image, inside: httpx.Client
) -> None:
    items = [item.model_dump(mode="json") for item in items_of(landmarks(film))]
    with socket_to(house, inside, f"{film.id}/live", house.address) as line:
        line.send(json.dumps({"seq": 7, "items": items, "all": True}))
        answer = json.loads(line.recv(timeout=10))
    assert answer["seq"] == 7
    rows = {(row["id"], row["side"]): row for row in answer["rows"]}
    # By hand: 14 px lateral and 28 px above the head's center: atan(14 / 28) = 26.6°.
    assert rows["lateral_center_edge_angle.sourcil", "left"]["text"] == "26.6°"


def test_the_socket_draws_the_spread_of_whose_reading_it_is(
    house: WebHouse, case: Case, film: Image, inside: httpx.Client
) -> None:
    """A reader who has placed everything alike eleven times has narrow intervals."""
    keeper = house.opened.keeper
    for number in range(1, 12):
        again = landmarks(film, "human:steady", number)
        keeper.save_reading(case.id, again, expected_version=0)
    items = [item.model_dump(mode="json") for item in items_of(landmarks(film))]
    widths: dict[str, float] = {}
    for reader in ("human:steady", "human:new"):
        with socket_to(house, inside, f"{film.id}/live?by={reader}", house.address) as line:
            line.send(json.dumps({"seq": 1, "items": items, "all": True}))
            rows = {(r["id"], r["side"]): r for r in json.loads(line.recv(timeout=10))["rows"]}
        low, high = rows["lateral_center_edge_angle.sourcil", "left"]["interval"].split(" to ")
        widths[reader] = float(high) - float(low)
        given = circumstances_of(keeper, film, reader)
        found = measure_landmarks(film.film(), landmarks(film), [Side.LEFT], circumstances=given)
        (wanted,) = [f for f in found if f.definition == "lateral_center_edge_angle.sourcil"]
        assert isinstance(wanted, Measurement)
        assert interval_in_words(wanted) == f"{low} to {high}"
    assert widths["human:steady"] < widths["human:new"] / 2


def test_the_socket_is_closed_to_foreign_pages_and_unknown_films(
    house: WebHouse, film: Image, inside: httpx.Client
) -> None:
    for name, origin in ((film.id, "http://elsewhere.example"), ("nothing", house.address)):
        with (
            pytest.raises((InvalidStatus, ConnectionClosed)),
            socket_to(house, inside, f"{name}/live", origin) as line,
        ):
            line.recv(timeout=10)


def test_the_socket_is_closed_on_nonsense(
    house: WebHouse, film: Image, inside: httpx.Client
) -> None:
    with socket_to(house, inside, f"{film.id}/live", house.address) as line:
        line.send("nonsense")
        with pytest.raises(ConnectionClosed) as closed:
            line.recv(timeout=10)
    assert closed.value.rcvd is not None
    assert closed.value.rcvd.code == 1008


def test_a_landmark_beside_the_picture_is_answered_with_words(
    house: WebHouse, film: Image, inside: httpx.Client
) -> None:
    item = {"id": "coccyx_tip", "side": None, "xy": [[-70, 0]]}
    with socket_to(house, inside, f"{film.id}/live", house.address) as line:
        line.send(json.dumps({"seq": 1, "items": [item]}))
        assert "coccyx_tip" in json.loads(line.recv(timeout=10))["error"]["message"]
