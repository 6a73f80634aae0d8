"""The page of one hip: edits with versions, grades, papers, identity, errors."""

import json

import httpx
import pytest

from hipwright.domain.keeping import Case, Image
from tests.web_house import PAGE, WebHouse, add_person


@pytest.fixture(scope="module")
def case(house: WebHouse) -> Case:
    return add_person(house.opened)[0]


@pytest.fixture
def film(house: WebHouse, case: Case) -> Image:
    return house.opened.keeper.images_of(case.person)[0]


def test_the_page_names_the_hip_its_person_and_its_films(
    case: Case, film: Image, inside: httpx.Client
) -> None:
    page = inside.get(f"/cases/{case.code}", headers=PAGE).text
    for words in (
        case.code,
        "Left hip",
        "Ada Example",
        "X-1001",
        "AP pelvis",
        "45° Dunn",
        "unread",
    ):
        assert words in page
    assert f"/films/{film.id}?case={case.code}" in page


def test_the_caution_stands_on_the_page(case: Case, inside: httpx.Client) -> None:
    assert "Not a medical device" in inside.get(f"/cases/{case.code}", headers=PAGE).text


def test_a_code_is_found_in_lower_case_without_hyphen(case: Case, inside: httpx.Client) -> None:
    typed = case.code.lower().replace("-", "")
    assert inside.get(f"/cases/{typed}", headers=PAGE).status_code == 200


def test_an_unknown_case_is_told_kindly(inside: httpx.Client) -> None:
    page = inside.get("/cases/ZZZ-ZZZ", headers=PAGE)
    assert page.status_code == 404
    assert "That did not work" in page.text
    data = inside.get("/cases/ZZZ-ZZZ")
    assert data.json()["error"]["code"] == "not_found"
    assert set(data.json()["error"]) == {"code", "message", "field", "help"}


def edit(film: Image, **changes: str) -> dict[str, str]:
    return {
        "view": film.view.value,
        "shows": film.laterality.value,
        "posture": film.posture.value,
        "version": str(film.version),
        "scale": "keep",
        **changes,
    }


def test_a_stale_edit_is_answered_with_both_values(
    house: WebHouse, case: Case, film: Image, inside: httpx.Client
) -> None:
    address = f"/cases/{case.code}/images/{film.id}/edit"
    first = inside.post(address, data=edit(film, posture="supine"))
    assert first.status_code == 204
    assert first.headers["hx-redirect"] == f"/cases/{case.code}"
    stale = inside.post(address, data=edit(film, posture="standing", phase="after surgery"))
    assert stale.status_code == 409
    assert "supine" in stale.text
    assert "standing" in stale.text
    assert house.opened.keeper.image(film.id).posture.value == "supine"
    assert house.opened.keeper.image(film.id).version == film.version + 1


def test_a_scale_by_hand_carries_its_provenance(
    house: WebHouse, case: Case, film: Image, inside: httpx.Client
) -> None:
    address = f"/cases/{case.code}/images/{film.id}/edit"
    answer = inside.post(address, data=edit(film, scale="hand", mm_per_pixel="0,25"))
    assert answer.status_code == 204
    kept = house.opened.keeper.image(film.id).calibration
    assert (kept.column_mm, kept.source.name) == (0.25, "BY_HAND")


@pytest.mark.parametrize(
    "changes",
    [
        {"scale": "hand", "mm_per_pixel": "wide"},
        {"scale": "hand", "mm_per_pixel": "250"},
        {"scale": "hand", "mm_per_pixel": "nan"},
        {"scale": "distances", "detector_mm": "0.2", "source_mm": "100", "hip_mm": "400"},
        {"view": "sideways"},
        {"scale": "guess"},
    ],
)
def test_an_edit_that_cannot_be_is_refused_in_the_dialog(
    house: WebHouse, case: Case, film: Image, inside: httpx.Client, changes: dict[str, str]
) -> None:
    answer = inside.post(f"/cases/{case.code}/images/{film.id}/edit", data=edit(film, **changes))
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert house.opened.keeper.image(film.id) == film


def test_an_image_of_another_person_is_not_shown_on_a_case(
    house: WebHouse, case: Case, inside: httpx.Client
) -> None:
    other = add_person(house.opened, name="Bea Example", number="B-1")[0]
    foreign = house.opened.keeper.images_of(other.person)[0]
    assert inside.get(f"/cases/{case.code}/images/{foreign.id}/edit").status_code == 404


def test_a_grade_needs_a_value_of_the_list_and_a_reader(
    house: WebHouse, case: Case, inside: httpx.Client
) -> None:
    address = f"/cases/{case.code}/grades"
    assert (
        inside.post(address, data={"definition": "tonnis_grade", "value": "1"}).status_code == 422
    )
    wrong = {"definition": "tonnis_grade", "value": "9", "reader": "AB"}
    assert inside.post(address, data=wrong).status_code == 422
    good = inside.post(address, data={**wrong, "value": "1"})
    assert good.status_code == 200
    (grade,) = house.opened.keeper.grades_of(case.id)
    assert (grade.value, grade.observer) == ("1", "human:AB")


def test_a_grade_keeps_its_details_in_bounds(
    house: WebHouse, case: Case, inside: httpx.Client
) -> None:
    address = f"/cases/{case.code}/grades"
    said = {"definition": "labral_ossification", "value": "present", "reader": "AB"}
    assert inside.post(address, data={**said, "detail.thickness": "400"}).status_code == 422
    assert inside.post(address, data={**said, "detail.thickness": "4.5"}).status_code == 200
    kept = {g.definition: g for g in house.opened.keeper.grades_of(case.id)}
    assert kept["labral_ossification"].details == {"thickness": 4.5}


def test_landmarks_go_out_and_come_back_as_a_new_version(
    house: WebHouse, case: Case, film: Image, inside: httpx.Client
) -> None:
    files = inside.get(f"/cases/{case.code}/landmarks.json").json()
    assert [file["format"] for file in files] == ["hipwright.landmarks"]
    files[0]["points"][0]["x"] += 1
    sent = {"file": ("landmarks.json", json.dumps(files), "application/json")}
    answer = inside.post(f"/cases/{case.code}/landmarks", files=sent)
    assert answer.status_code == 204
    (reading,) = house.opened.keeper.readings_of(film.id)
    assert reading.version == 2


@pytest.mark.parametrize("content", ["no json", "{}", '[{"format": "other"}]'])
def test_a_landmark_file_that_is_none_is_refused(
    case: Case, inside: httpx.Client, content: str
) -> None:
    sent = {"file": ("x.json", content, "application/json")}
    answer = inside.post(f"/cases/{case.code}/landmarks", files=sent)
    assert answer.status_code == 422
    assert "cannot" in answer.text


def test_the_report_for_the_care_record_alone_bears_the_name(
    case: Case, inside: httpx.Client
) -> None:
    plain = inside.get(f"/cases/{case.code}/report.html")
    assert plain.headers["content-disposition"].startswith("attachment")
    assert "Example" not in plain.text
    assert "Ada Example" in inside.get(f"/cases/{case.code}/report.html?whose=care").text
    inside.post("/names", data={"shown": "0"})
    assert "Ada Example" not in inside.get(f"/cases/{case.code}/report.html?whose=care").text


def test_the_letter_holds_findings_method_and_caution_and_no_name(
    case: Case, inside: httpx.Client
) -> None:
    letter = inside.get(f"/cases/{case.code}/letter.txt").text
    assert case.code in letter
    assert "enter-edge" in letter
    assert "Not a medical device" in letter
    assert "Example" not in letter


def test_the_report_is_a_pdf(case: Case, inside: httpx.Client) -> None:
    answer = inside.get(f"/cases/{case.code}/report.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")


def test_a_case_without_a_name_can_be_filed(house: WebHouse, inside: httpx.Client) -> None:
    case = add_person(house.opened, name="", films=1)[0]
    assert "File it" in inside.get(f"/cases/{case.code}", headers=PAGE).text
    who = {"name": "Cleo Example", "numbers": "C-1, C-2", "born": "1992-04-02", "sex": "F"}
    assert inside.post(f"/cases/{case.code}/identity", data=who).status_code == 303
    kept = house.opened.identity.of(case.person)
    assert kept is not None
    assert kept.numbers == ("C-1", "C-2")
    assert "File it" not in inside.get(f"/cases/{case.code}", headers=PAGE).text


def test_a_number_that_another_person_has_is_refused(
    house: WebHouse, inside: httpx.Client
) -> None:
    case = add_person(house.opened, name="", films=0)[0]
    answer = inside.post(f"/cases/{case.code}/identity", data={"name": "X", "numbers": "X-1001"})
    assert answer.status_code == 422
    assert answer.json()["error"]["code"] == "identity"


def test_the_history_tells_what_changed_and_by_whom(case: Case, inside: httpx.Client) -> None:
    inside.post(f"/cases/{case.code}/summary", data={"words": "New line", "version": "1"})
    page = inside.get(f"/cases/{case.code}/history", headers=PAGE).text
    for words in (
        "Case opened",
        "the case in a line",
        "AP pelvis taken in",
        "reading 1, version 1",
    ):
        assert words in page


def test_thumbnails_are_made_once(house: WebHouse, film: Image, inside: httpx.Client) -> None:
    first = inside.get(f"/images/{film.id}/thumbnail.png")
    assert first.content.startswith(b"\x89PNG")
    kept = list((house.state.folder / "thumbnails").rglob("*.png"))
    assert any(path.stem == film.files[0] for path in kept)
    assert inside.get(f"/images/{film.id}/thumbnail.png").content == first.content


def test_every_catalog_entry_has_a_page(inside: httpx.Client) -> None:
    from hipwright.catalog import load

    for key in load().measurements:
        assert inside.get(f"/catalog/{key}", headers=PAGE).status_code == 200
    assert inside.get("/catalog/nothing", headers=PAGE).status_code == 404


def test_the_check_up_and_the_backup_work(inside: httpx.Client) -> None:
    assert "Database" in inside.post("/workspace/check-up").text
    backup = inside.post("/workspace/backup", data={})
    assert backup.status_code == 200
    assert backup.content.startswith(b"PK")
    assert inside.post("/workspace/backup", data={"passphrase": "a"}).status_code == 422


def test_logs_hold_no_name_and_no_query(
    house: WebHouse, case: Case, inside: httpx.Client, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO", logger="hipwright.web")
    inside.get("/cases?side=left")
    inside.post("/cases/search", data={"q": "Ada Example"})
    inside.get(f"/cases/{case.code}")
    lines = [record.getMessage() for record in caplog.records if record.name == "hipwright.web"]
    assert any(f"GET /cases/{case.code} 200" in line for line in lines)
    assert not any("Ada" in line or "?" in line for line in lines)
