"""The Bones page and its parts, asked by HTTP."""

import re
from dataclasses import dataclass, replace

import httpx
import numpy as np
import pytest

from hipwright.apps.web.bones.desk import BONES, SHELF
from hipwright.domain.anatomy import Bone, BoneLandmarks, Remark, Severity
from hipwright.domain.keeping import Case, Image
from hipwright.domain.keeping_bones import JobState
from hipwright.domain.side import Side
from tests.bones_house import REMARKS, FakeBones, add_ct, build_of, surface_named
from tests.web_house import PAGE, WebHouse, add_person

REFUSAL = Remark(
    code="leak",
    severity=Severity.REFUSAL,
    text="It runs over into the socket.",
    bone=Bone.FEMUR_RIGHT,
)


@dataclass
class Room:
    """A case with models, and the bones it is shown from."""

    case: Case
    ct: Image
    bones: FakeBones
    client: httpx.Client

    def get(self, part: str = "", **query: str | float) -> httpx.Response:
        slash = f"/{part}" if part else ""
        return self.client.get(f"/bones/{self.case.code}{slash}", params=query, headers=PAGE)

    def post(self, part: str, json: object) -> httpx.Response:
        return self.client.post(f"/bones/{self.case.code}/{part}", json=json)


@pytest.fixture
def room(house: WebHouse, inside: httpx.Client) -> Room:
    number = len(house.opened.keeper.cases())
    (case,) = add_person(house.opened, name=f"Person {number}", number=f"X-{number}")
    ct = add_ct(house.opened, case)
    bones = FakeBones(images=[ct])
    bones.builds_kept.append(build_of(case.person, ct.id, remarks=(*REMARKS, REFUSAL)))
    house.state.rooms[BONES] = bones
    house.state.rooms.pop(SHELF, None)
    return Room(case=case, ct=ct, bones=bones, client=inside)


def read_as(room: Room, code: str = "AB") -> None:
    assert room.client.post("/films/reader", json={"code": code}).status_code == 200


def a_landmark(room: Room) -> dict:
    scene = room.get("scene").json()
    return next(one for one in scene["landmarks"] if one["movable"] and one["side"] == "left")


def test_a_person_without_a_ct_is_told_what_is_needed(room: Room):
    room.bones.images.clear()
    room.bones.builds_kept.clear()
    page = room.get()
    assert page.status_code == 200
    assert "No CT of this person" in page.text
    assert "2&nbsp;mm or less" in page.text


def test_a_ct_without_models_offers_to_make_them(room: Room):
    room.bones.builds_kept.clear()
    page = room.get()
    assert "Make bone models" in page.text
    assert f'hx-post="/bones/{room.case.code}/making/{room.ct.id}"' in page.text


def test_refusals_stand_before_warnings_before_everything_else(room: Room):
    text = room.get().text
    assert "Right femur refused." in text
    assert text.index("Right femur refused.") < text.index("The joint is narrower")
    assert text.index("The joint is narrower") < text.index("Around the clock")
    assert "Slices lie 1.0 mm apart." in text


def test_builds_are_listed_and_the_newest_is_shown(room: Room):
    room.bones.builds_kept.append(build_of(room.case.person, room.ct.id, number=2))
    page = room.get()
    assert re.search(r'<option value="build-2" selected', page.text)
    older = room.get(build="build-1")
    assert re.search(r'<option value="build-1" selected', older.text)


def test_anothers_build_is_not_found(room: Room):
    assert room.get(build="build-77").status_code == 404
    room.bones.builds_kept.clear()
    assert room.get("numbers").status_code == 404


def test_a_mesh_is_counts_places_and_triangles(room: Room):
    content = room.get("mesh/femur_left").content
    vertices, faces = np.frombuffer(content, "<u4", 2)
    known = surface_named("femur_left")
    assert (vertices, faces) == (len(known.vertices), len(known.faces))
    places = np.frombuffer(content, "<f4", 3 * vertices, 8).reshape(-1, 3)
    np.testing.assert_allclose(places, known.vertices, atol=1e-4)
    corners = np.frombuffer(content, "<u4", 3 * faces, 8 + 12 * vertices).reshape(-1, 3)
    np.testing.assert_array_equal(corners, known.faces)
    assert room.get("mesh/tibia_left").status_code == 404


def test_the_other_hip_is_mirrored_head_on_head(room: Room):
    content = room.get("mirrored/femur_right").content
    vertices, faces = np.frombuffer(content, "<u4", 2)
    places = np.frombuffer(content, "<f4", 3 * vertices, 8).reshape(-1, 3).astype(float)
    corners = np.frombuffer(content, "<u4", 3 * faces, 8 + 12 * vertices).reshape(-1, 3)
    # the modeled person's sides are mirror images about the midline: lateral stays lateral
    assert places[:, 0].mean() > 0
    a, b, c = (places[corners[:, k]] for k in range(3))
    assert np.einsum("ij,ij->", a, np.cross(b, c)) > 0  # it still looks outward
    assert room.get("mirrored/sacrum").status_code == 404


def test_numbers_show_both_hips_their_difference_and_why_some_are_missing(room: Room):
    text = room.get("numbers").text
    assert "Femoral version by Murphy" in text
    assert 'data-choose="femoral_version.murphy" data-side="left"' in text
    assert 'data-choose="femoral_version.murphy" data-side="right"' in text
    assert "Difference +1.5" in text
    assert "the knee was not scanned" in text
    assert 'href="/catalog/femoral_version.murphy"' in text


def test_bones_that_give_no_number_say_so(room: Room, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("tests.bones_house.made_up_findings", lambda side, shift: [])
    assert "Nothing could be measured on these bones." in room.get("numbers").text
    assert "Nothing was measured by clock hour." in room.get("clock").text


def test_the_clock_has_a_face_and_the_same_as_a_table(room: Room):
    text = room.get("clock").text
    assert "<clock-face" in text
    assert text.count("<tr>") > 24
    other = room.get("clock", shown="center_edge_angle.by_hour").text
    assert 'data-definition="center_edge_angle.by_hour"' in other


def test_the_scene_has_landmarks_and_legends_in_words(room: Room):
    scene = room.get("scene").json()
    assert {one["id"] for one in scene["maps"]} == {"residual", "coverage"}
    residual = next(one for one in scene["maps"] if one["id"] == "residual")
    assert residual["high"].startswith("bone outside the sphere, up to ")
    assert residual["high"].endswith(" mm")
    assert [tick["share"] for tick in residual["ticks"]] == [0, 0.25, 0.5, 0.75, 1]
    values = room.client.get(residual["addresses"]["femur_left"])
    assert len(values.content) == len(surface_named("femur_left").vertices)
    assert set(values.content) > {0, 255}
    assert room.get("map/joint_space/femur_left").status_code == 404


def test_a_construction_comes_home_in_patient_axes(room: Room):
    got = room.get("construction", definition="femoral_version.murphy", side="left").json()
    (point,) = got["points"]
    up = got["lines"][1]["points"]
    assert up[0] == point["at"]
    assert np.array(up[1]) - np.array(up[0]) == pytest.approx([0, 0, 60])
    assert got["lines"][1]["dashed"] is True
    assert got["label"].endswith("°")
    # a flat construction is looked at square, never from within the body
    assert got["back"] == pytest.approx([0.0, -1.0, 0.0], abs=1e-3)


@pytest.mark.parametrize("wanted", ["alpha_angle.radial.maximum_hour", "no.such"])
def test_what_was_not_measured_cannot_be_drawn(room: Room, wanted: str):
    missing = room.get("construction", definition=wanted, side="left", hour=5.5)
    assert missing.status_code == 404


def test_a_ray_meets_the_bone_where_it_enters(room: Room):
    known = a_landmark(room)
    at = np.array(known["at"])
    body = {
        "landmark": known["id"], "side": "left",
        "origin": [float(x) for x in at + np.array([0, 0, 400])], "direction": [0, 0, -1],
    }  # fmt: skip
    found = room.post("place", body).json()["at"]
    assert found[:2] == pytest.approx(at[:2], abs=1e-3)
    assert found[2] >= at[2] - 1e-3
    aside = room.post("place", body | {"origin": [4000, 0, 0]}).json()
    assert aside["at"] is None
    assert room.post("place", body | {"direction": [0, 0, 0]}).json()["at"] is None


def test_a_moved_landmark_is_saved_on_the_bone_and_measured_anew(room: Room):
    read_as(room)
    known = a_landmark(room)
    before = room.bones.measured_times
    saved = room.post(
        "landmark",
        {"landmark": known["id"], "side": "left", "at": known["at"], "expected_version": 0},
    )
    assert saved.json() == {"version": 1, "observer": "human:AB"}
    scene = room.get("scene").json()
    assert room.bones.measured_times == before + 1
    again = next(one for one in scene["landmarks"] if one["key"] == known["key"])
    assert again["moved"] is True
    assert again["at"] == pytest.approx(known["at"], abs=1e-6)
    back = room.post(
        "landmark", {"landmark": known["id"], "side": "left", "at": None, "expected_version": 1}
    )
    assert back.json()["version"] == 2
    assert not any(one["moved"] for one in room.get("scene").json()["landmarks"])


def test_a_stale_landmark_is_told_what_is_kept(room: Room):
    read_as(room)
    known = a_landmark(room)
    body = {"landmark": known["id"], "side": "left", "at": known["at"], "expected_version": 0}
    room.post("landmark", body)
    stale = room.post("landmark", body)
    assert stale.status_code == 409
    assert stale.json()["kept"] == {"version": 1, "observer": "human:AB"}


def test_a_landmark_off_the_bone_or_of_no_known_kind_is_refused(room: Room):
    read_as(room)
    known = a_landmark(room)
    body = {"landmark": known["id"], "side": "left", "expected_version": 0}
    off = room.post("landmark", body | {"at": [900, 900, 900]})
    assert off.status_code == 422
    assert "off the bone" in off.json()["error"]["message"]
    fixed = room.post("landmark", body | {"landmark": "femoral_head_sphere", "at": known["at"]})
    assert fixed.status_code == 422
    assert room.post("place", {"landmark": "x"}).status_code == 422


def test_nobody_in_particular_cannot_save(house: WebHouse, room: Room):
    known = a_landmark(room)
    body = {"landmark": known["id"], "side": "left", "at": known["at"], "expected_version": 0}
    with house.client() as stranger:
        refused = stranger.post(f"/bones/{room.case.code}/landmark", json=body)
        assert refused.status_code == 422
        assert "nobody's code" in refused.json()["error"]["message"]
        named = stranger.post(f"/bones/{room.case.code}/landmark", json=body | {"reader": "XY"})
        assert named.json()["observer"] == "human:XY"


def test_tilts_are_kept_and_show_what_changes(room: Room):
    read_as(room, "T1")
    form = {"version": "0", "standing": "6,5", "supine": "\N{MINUS SIGN}2", "source": "  a  film "}
    saved = room.client.post(
        f"/bones/{room.case.code}/tilt",
        content=str(httpx.QueryParams(form)),
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )
    assert saved.status_code == 303
    (reading,) = room.bones.readings_kept
    assert (reading.standing_tilt_deg, reading.supine_tilt_deg) == (6.5, -2.0)
    assert reading.tilt_source == "a film"
    text = room.get("tilt").text
    assert "standing tilt, 6.5° forward" in text
    assert "supine tilt, 2.0° backward" in text
    assert "Acetabular version" in text
    assert "+3.2°" in text or "+3.3°" in text
    assert "standing" in room.get("numbers").text
    empty = dict(form, version="1", standing="", supine="")
    room.client.post(
        f"/bones/{room.case.code}/tilt",
        content=str(httpx.QueryParams(empty)),
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )
    assert "What changes" not in room.get("tilt").text


def test_a_tilt_that_is_no_number_is_refused(room: Room):
    read_as(room)
    answer = room.client.post(
        f"/bones/{room.case.code}/tilt",
        content=str(httpx.QueryParams({"version": "0", "standing": "much", "reader": "AB"})),
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )
    assert answer.status_code == 422
    assert "cannot use the standing tilt" in answer.text


PART = {"HX-Request": "true"}


def test_work_begins_is_followed_and_stopped(room: Room):
    place = f"/bones/{room.case.code}/making/{room.ct.id}"
    begun = room.client.post(place, headers=PART)
    assert "Telling the bones apart" in begun.text
    assert 'value="34"' in begun.text
    assert 'hx-trigger="every 700ms"' in begun.text
    room.client.post(place, headers=PART)
    assert len(room.bones.jobs) == 1
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    other = room.client.post(f"{place}/stop", content="job=job-9", headers=form)
    assert "Stopping" not in other.text
    assert "Stopping" in room.client.post(f"{place}/stop", content="job=job-1", headers=form).text
    assert "HX-Retarget" not in room.client.get(place).headers
    room.bones.change("job-1", state=JobState.CANCELED)
    over = room.client.get(place)
    assert over.headers["HX-Retarget"] == f"#work-{room.ct.id}"
    assert "Stopped." in over.text
    assert "Go on" in over.text


def test_a_plain_form_of_another_page_begins_and_leads_to_the_bones(room: Room):
    """A form without htmx gets a page, not a part of one."""
    answer = room.client.post(f"/bones/{room.case.code}/making/{room.ct.id}")
    assert (answer.status_code, answer.headers["Location"]) == (303, f"/bones/{room.case.code}")
    assert len(room.bones.jobs) == 1


def test_finished_work_leads_to_the_new_models(room: Room):
    place = f"/bones/{room.case.code}/making/{room.ct.id}"
    room.client.post(place)
    room.bones.change("job-1", state=JobState.DONE, result="build-2")
    assert room.client.get(place).headers["HX-Redirect"] == f"/bones/{room.case.code}"


def test_failed_and_interrupted_work_is_told_in_four_parts(room: Room):
    place = f"/bones/{room.case.code}/making/{room.ct.id}"
    room.client.post(place)
    error = {
        "code": "volume",
        "message": "cannot read the series: needs even slices, but found a gap. Import it again.",
        "found": "a gap of 3 mm", "needed": "even slices", "help": "Import it again.",
    }  # fmt: skip
    room.bones.change("job-1", state=JobState.FAILED, error=error, total=0)
    text = room.client.get(place).text
    for part in ("Cannot read the series.", "a gap of 3 mm", "even slices", "Import it again."):
        assert part in text
    room.bones.change("job-1", state=JobState.INTERRUPTED, error=None)
    assert "hipwright was closed" in room.client.get(place).text


def test_work_on_anothers_series_is_refused(room: Room):
    assert room.client.post(f"/bones/{room.case.code}/making/no-such").status_code == 404


def test_the_film_from_the_ct_stands_beside_the_real_one(room: Room):
    page = room.get("film")
    assert "Film and CT" in page.text
    assert "Aligned by both heads" in page.text
    picture = re.search(r'src="(/bones/[^"]+\.png[^"]*)"', page.text)
    assert picture is not None
    shown = room.client.get(picture[1].replace("&amp;", "&"))
    assert shown.headers["content-type"] == "image/png"
    assert shown.content.startswith(b"\x89PNG")
    assert room.get("film/no-such.png").status_code == 404


def test_pairs_of_film_and_space_say_whether_doubt_explains_the_difference(room: Room):
    text = room.get("film").text
    assert "Lateral center-edge angle, to the sourcil" in text
    assert "the doubt of both" in text


def test_a_dunn_film_is_refused_with_its_reason(house: WebHouse, room: Room):
    images = house.opened.keeper.images_of(room.case.person)
    dunn = next(image for image in images if image.view.value == "dunn_45")
    assert "without moving the femur" in room.get("film", image=dunn.id).text


def test_a_person_without_films_is_told_so(house: WebHouse, inside: httpx.Client):
    (case,) = add_person(house.opened, name="No Films", number="X-none", films=0)
    ct = add_ct(house.opened, case)
    bones = FakeBones(images=[ct])
    bones.builds_kept.append(build_of(case.person, ct.id))
    house.state.rooms[BONES] = bones
    assert "No film of this hip" in inside.get(f"/bones/{case.code}/film", headers=PAGE).text


def test_the_case_page_leads_to_the_bones(room: Room):
    page = room.client.get(f"/cases/{room.case.code}", headers=PAGE)
    assert f'href="/bones/{room.case.code}"' in page.text


def test_the_report_holds_the_bones(room: Room):
    page = room.client.get(f"/cases/{room.case.code}/report.html")
    assert "Bones from CT" in page.text
    assert "Acetabular version" in page.text
    room.bones.builds_kept.clear()
    assert "Bones from CT" not in room.client.get(f"/cases/{room.case.code}/report.html").text


def test_a_reading_of_somebody_else_is_shown_until_there_is_an_own_one(room: Room):
    read_as(room, "AB")
    known = a_landmark(room)
    body = {"landmark": known["id"], "side": "left", "at": known["at"], "expected_version": 0}
    room.post("landmark", body)
    read_as(room, "CD")
    assert any(one["moved"] for one in room.get("scene").json()["landmarks"])
    first = room.bones.readings_kept[0]
    room.bones.readings_kept.append(replace(first, observer="human:CD", moved=BoneLandmarks()))
    assert not any(one["moved"] for one in room.get("scene").json()["landmarks"])
    shown = room.get("scene", by="human:AB").json()
    assert any(one["moved"] for one in shown["landmarks"])


def test_sides_of_the_page_follow_the_case(house: WebHouse, inside: httpx.Client):
    (case,) = add_person(house.opened, name="Right One", number="X-right", sides=(Side.RIGHT,))
    ct = add_ct(house.opened, case)
    bones = FakeBones(images=[ct])
    bones.builds_kept.append(build_of(case.person, ct.id))
    house.state.rooms[BONES] = bones
    text = inside.get(f"/bones/{case.code}/numbers", headers=PAGE).text
    assert text.index('<th scope="col" class="number">Right') < text.index(
        '<th scope="col" class="number">Left'
    )
