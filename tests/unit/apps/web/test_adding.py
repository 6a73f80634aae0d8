"""Taking images in by the browser: bring, look, confirm; hostile names; nothing half kept."""

import io
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.apps.web.adding.safe_paths import safe_path
from hipwright.domain.errors import ImportRefusedError
from tests.dicom_makers import as_bytes, film
from tests.web_house import WebHouse, open_house, png

PATIENCE_S = 20.0


@pytest.fixture
def house(tmp_path: Path) -> Iterator[WebHouse]:
    with open_house(tmp_path, upload_limit_bytes=3_000_000) as opened:
        yield opened


def begin(client: httpx.Client, into: str = "") -> str:
    answer = client.post("/adding", json={"into": into})
    assert answer.status_code == 201
    return answer.json()["address"]


def bring(client: httpx.Client, address: str, path: str, content: bytes) -> httpx.Response:
    headers = {"X-File-Path": quote(path)}
    return client.put(f"{address}/files", content=content, headers=headers)


def settled(house: WebHouse, address: str) -> str:
    arriving = house.state.arrivals.find(address.rpartition("/")[2])
    assert arriving is not None
    end = time.monotonic() + PATIENCE_S
    while arriving.stage.is_working and time.monotonic() < end:
        time.sleep(0.02)
    return arriving.stage.value


def looked_at(house: WebHouse, client: httpx.Client, files: dict[str, bytes]) -> str:
    address = begin(client)
    for path, content in files.items():
        assert bring(client, address, path, content).status_code == 200
    assert client.post(f"{address}/look").status_code == 200
    assert settled(house, address) == "asking"
    return address


def test_a_film_is_brought_looked_at_and_kept(house: WebHouse, inside: httpx.Client) -> None:
    address = looked_at(house, inside, {"study/one.dcm": as_bytes(film()), "notes.txt": b"hello"})
    page = inside.get(address).text
    assert "Is this right?" in page
    assert "notes.txt" in page
    assert house.opened.keeper.cases() == []
    inside.post(f"{address}/keep", data={"sides.0": "left", "summary.0": "A test"})
    assert settled(house, address) == "done"
    (case,) = house.opened.keeper.cases()
    assert (case.side.value, case.summary) == ("left", "A test")
    (image,) = house.opened.keeper.images_of(case.person)
    assert image.confirmed
    assert list((house.state.folder / "arriving").rglob("*.dcm")) == []


def test_answers_about_an_image_are_kept_with_it(house: WebHouse, inside: httpx.Client) -> None:
    address = looked_at(house, inside, {"one.dcm": as_bytes(film())})
    arriving = house.state.arrivals.find(address.rpartition("/")[2])
    assert arriving is not None
    assert arriving.delivery is not None
    image = arriving.delivery.arrivals[0].images[0].image.id
    said = {"sides.0": "right", f"view.{image}": "false_profile", f"shows.{image}": "right"}
    inside.post(f"{address}/keep", data=said)
    assert settled(house, address) == "done"
    (case,) = house.opened.keeper.cases()
    (kept,) = house.opened.keeper.images_of(case.person)
    assert (kept.view.value, kept.laterality.value) == ("false_profile", "right")


def test_keeping_and_reading_at_once_leads_to_the_film(
    house: WebHouse, inside: httpx.Client
) -> None:
    address = looked_at(house, inside, {"one.dcm": as_bytes(film())})
    inside.post(f"{address}/keep", data={"sides.0": "left", "then": "read"})
    assert settled(house, address) == "done"
    answer = inside.get(f"{address}/progress")
    assert answer.headers["hx-redirect"].startswith("/films/")


def test_an_import_for_which_no_side_is_known_asks_again(
    house: WebHouse, inside: httpx.Client
) -> None:
    plain = film(SeriesDescription="", ImageLaterality="", ViewPosition="", StudyDescription="")
    address = looked_at(house, inside, {"one.dcm": as_bytes(plain)})
    inside.post(f"{address}/keep", data={})
    assert settled(house, address) == "asking"
    assert "cannot tell which hip" in inside.get(address).text
    assert house.opened.keeper.cases() == []


def test_films_of_two_people_are_refused_unless_that_is_meant(
    house: WebHouse, inside: httpx.Client
) -> None:
    files = {
        "a.dcm": as_bytes(film(1, PatientID="A", PatientName="A^A", StudyInstanceUID="1.2.1")),
        "b.dcm": as_bytes(film(2, PatientID="B", PatientName="B^B", StudyInstanceUID="1.2.2")),
    }
    address = looked_at(house, inside, files)
    sides = {"sides.0": "left", "sides.1": "right"}
    inside.post(f"{address}/keep", data=sides)
    assert settled(house, address) == "asking"
    assert house.opened.keeper.cases() == []
    inside.post(f"{address}/keep", data={**sides, "each_patient": "on"})
    assert settled(house, address) == "done"
    assert sorted(case.side.value for case in house.opened.keeper.cases()) == ["left", "right"]


def test_a_picture_is_shown_only_after_somebody_wants_to_look_for_names(
    house: WebHouse, inside: httpx.Client
) -> None:
    address = looked_at(house, inside, {"photo.png": png()})
    assert "Show me these pictures" in inside.get(address).text
    inside.post(f"{address}/look-again", data={"pixels": "1"})
    assert settled(house, address) == "asking"
    page = inside.get(address).text
    assert 'name="looked" required' in page
    assert inside.get(page.split('<img src="')[1].split('"')[0]).content.startswith(b"\x89PNG")
    who = {"sides.0": "left", "name.0": "Pia Example", "number.0": "P-1", "born.0": "1999-05-31"}
    inside.post(f"{address}/keep", data={**who, "sex.0": "F", "looked": "on"})
    assert settled(house, address) == "done"
    (case,) = house.opened.keeper.cases()
    identity = house.opened.identity.of(case.person)
    assert identity is not None
    assert identity.name == "Pia Example"
    person = house.opened.keeper.person(case.person)
    assert person.birth_date_shifted is not None
    true = house.opened.identity.true_date(person.id, person.birth_date_shifted)
    assert true.isoformat() == "1999-05-31"


def test_a_zip_file_is_opened(house: WebHouse, inside: httpx.Client) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("disc/one.dcm", as_bytes(film()))
        archive.writestr("../../outside.dcm", as_bytes(film(2)))
    address = looked_at(house, inside, {"disc.zip": packed.getvalue()})
    assert "outside" in inside.get(address).text  # turned away, and told
    inside.post(f"{address}/keep", data={"sides.0": "left"})
    assert settled(house, address) == "done"


def test_stopping_keeps_nothing_and_deletes_what_was_brought(
    house: WebHouse, inside: httpx.Client
) -> None:
    address = looked_at(house, inside, {"one.dcm": as_bytes(film())})
    assert inside.post(f"{address}/cancel").status_code == 303
    assert settled(house, address) == "canceled"
    assert house.opened.keeper.cases() == []
    assert list((house.state.folder / "arriving").rglob("*.dcm")) == []
    assert inside.post(f"{address}/keep", data={}).status_code == 422


def test_more_than_the_limit_is_refused(house: WebHouse, inside: httpx.Client) -> None:
    address = begin(inside)
    answer = bring(inside, address, "large.dcm", bytes(3_100_000))
    assert answer.status_code == 422
    assert "0.003 GB" in answer.json()["error"]["message"]


def test_nothing_is_nothing(house: WebHouse, inside: httpx.Client) -> None:
    address = begin(inside)
    answer = inside.post(f"{address}/look")
    assert answer.status_code == 422
    assert "no files" in answer.json()["error"]["message"]


def test_an_import_into_a_case_that_is_not_there_is_refused(
    house: WebHouse, inside: httpx.Client
) -> None:
    assert inside.post("/adding", json={"into": "NO-CASE"}).status_code == 404


def test_two_files_of_one_name_are_both_looked_at(house: WebHouse, inside: httpx.Client) -> None:
    address = begin(inside)
    for number in (1, 2):
        bring(inside, address, "same.dcm", as_bytes(film(number)))
    inside.post(f"{address}/look")
    assert settled(house, address) == "asking"
    assert inside.get(address).text.count("pictures/") == 2


HOSTILE = [
    "../../x",
    "/etc/passwd",
    "C:\\Windows\\x",
    "a/../../../b",
    "\\\\host\\share\\x",
    "CON.dcm",
]


@pytest.mark.parametrize("sent", HOSTILE)
def test_a_hostile_name_stays_inside(tmp_path: Path, sent: str) -> None:
    path = safe_path(tmp_path, sent)
    assert path.resolve().is_relative_to(tmp_path.resolve())
    assert ".." not in path.parts


@given(st.text(max_size=300))
def test_any_name_stays_inside_and_can_be_written(tmp_path_factory, sent: str) -> None:
    folder = tmp_path_factory.mktemp("place")
    try:
        path = safe_path(folder, sent)
    except ImportRefusedError:
        return
    assert path.resolve().is_relative_to(folder.resolve())
    assert path.resolve() != folder.resolve()
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch()
