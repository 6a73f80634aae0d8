"""What every keeper does: the one in memory, on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from hipwright.domain.errors import KeepingError, NotFoundError, StaleWriteError
from hipwright.domain.keeping import Laterality
from hipwright.domain.landmarks import LandmarkSet, PlacedPoint
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, View
from hipwright.wiring import open_workspace
from hipwright.workflows.ports import Keeper
from tests.contract.fakes import MemoryKeeper
from tests.contract.kept_things import (
    OPENED,
    a_case,
    a_clinic,
    a_film,
    a_grade,
    a_person,
    a_study,
    some_landmarks,
)


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def keeper(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Keeper]:
    if request.param == "memory":
        yield MemoryKeeper()
        return
    url = request.getfixturevalue("postgresql_url") if request.param == "postgresql" else None
    with open_workspace(tmp_path / "workspace", create=True, database_url=url) as opened:
        yield opened.keeper


def test_store_returns_what_it_was_given(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    assert keeper.person(clinic.person.id) == clinic.person
    assert keeper.case(clinic.case.code) == clinic.case
    assert keeper.study(clinic.study.id) == clinic.study
    assert keeper.image(clinic.film.id) == clinic.film
    assert list(keeper.persons()) == [clinic.person]
    assert list(keeper.cases()) == [clinic.case]
    assert list(keeper.studies_of(clinic.person.id)) == [clinic.study]
    assert list(keeper.images_of(clinic.person.id)) == [clinic.film]


def test_store_keeps_an_image_with_nothing_optional(keeper: Keeper) -> None:
    person = a_person(keeper, sex=None, birth_date_shifted=None, invented=False)
    study = a_study(keeper, person, acquired_on=None, label="", source_uid="")
    keeper.add_person(person)
    keeper.add_study(study)
    bare = a_film(
        keeper,
        study,
        calibration=Calibration.uncalibrated(pixel_aspect=1.2),
        acquired_on=None,
        anterior_at_image_right=None,
        phase="",
        warnings=(),
        source_uids=(),
        laterality=Laterality.UNKNOWN,
    )
    keeper.add_image(bare)
    assert keeper.image(bare.id) == bare
    assert keeper.person(person.id) == person
    assert keeper.study(study.id) == study


def test_new_ids_are_version_7_and_sort_by_time(keeper: Keeper) -> None:
    ids = [keeper.new_id() for _ in range(200)]
    assert ids == sorted(ids)
    assert {one[14] for one in ids} == {"7"}


def test_an_id_that_is_not_a_uuid7_is_refused(keeper: Keeper) -> None:
    with pytest.raises(KeepingError):
        keeper.add_person(a_person(keeper, id="person-1"))
    with pytest.raises(KeepingError):
        keeper.add_person(a_person(keeper, id="f81d4fae-7dec-41d0-a765-00a0c91e6bf6"))


def test_the_same_id_cannot_be_kept_twice(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    with pytest.raises(KeepingError):
        keeper.add_person(clinic.person)
    with pytest.raises(KeepingError):
        keeper.add_study(replace(clinic.study, source_uid=""))
    with pytest.raises(KeepingError):
        keeper.add_image(clinic.film)


@pytest.mark.parametrize("missing", ["person", "case", "study", "image", "file"])
def test_what_is_not_there_is_not_found(keeper: Keeper, missing: str) -> None:
    look = {
        "person": keeper.person,
        "case": keeper.case,
        "study": keeper.study,
        "image": keeper.image,
        "file": keeper.get_file,
    }[missing]
    with pytest.raises(NotFoundError):
        look(keeper.new_id())
    with pytest.raises(NotFoundError):
        look("../../../etc/passwd")


def test_a_case_is_found_in_any_case_without_hyphen_and_by_an_only_prefix(keeper: Keeper) -> None:
    person = a_person(keeper)
    keeper.add_person(person)
    keeper.add_case(a_case(keeper, person, code="K7M-4QX"))
    for typed in ("K7M-4QX", "k7m-4qx", "k7m4qx", " k7m 4qx ", "k7", "K7M-"):
        assert keeper.case(typed).code == "K7M-4QX"


def test_look_alikes_find_the_same_case(keeper: Keeper) -> None:
    person = a_person(keeper)
    keeper.add_person(person)
    keeper.add_case(a_case(keeper, person, code="B01-T10"))
    assert keeper.case("bol-tio").code == "B01-T10"


def test_an_exact_code_wins_over_longer_ones_that_begin_like_it(keeper: Keeper) -> None:
    for code in ("HIP-1", "HIP-12"):
        person = a_person(keeper)
        keeper.add_person(person)
        keeper.add_case(a_case(keeper, person, code=code))
    assert keeper.case("hip-1").code == "HIP-1"
    with pytest.raises(NotFoundError):
        keeper.case("hip")
    with pytest.raises(NotFoundError):
        keeper.case("")
    with pytest.raises(NotFoundError):
        keeper.case("%")


@pytest.mark.parametrize("code", ["", "   ", "-", "A--B", "A" * 25, "Ä-1", "a/b", "../x", "A_B"])
def test_a_chosen_code_with_other_characters_is_refused(keeper: Keeper, code: str) -> None:
    person = a_person(keeper)
    keeper.add_person(person)
    with pytest.raises(KeepingError):
        keeper.add_case(a_case(keeper, person, code=code))


def test_two_cases_cannot_have_codes_that_sound_the_same(keeper: Keeper) -> None:
    first, second = a_person(keeper), a_person(keeper)
    keeper.add_person(first)
    keeper.add_person(second)
    keeper.add_case(a_case(keeper, first, code="Hip-01"))
    with pytest.raises(KeepingError):
        keeper.add_case(a_case(keeper, second, code="HIPO1"))


def test_a_hip_has_one_case_and_a_person_at_most_two(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    with pytest.raises(KeepingError):
        keeper.add_case(a_case(keeper, clinic.person))
    other = a_case(keeper, clinic.person, side=Side.RIGHT)
    keeper.add_case(other)
    assert list(keeper.cases_of(clinic.person.id)) == [clinic.case, other]


def test_a_case_of_nobody_is_refused(keeper: Keeper) -> None:
    with pytest.raises(KeepingError):
        keeper.add_case(a_case(keeper, a_person(keeper)))


def test_cases_are_listed_in_the_order_in_which_they_were_opened(keeper: Keeper) -> None:
    codes = []
    for days in (3, 1, 2):
        person = a_person(keeper)
        keeper.add_person(person)
        case = a_case(keeper, person, opened_at=OPENED + timedelta(days=days))
        keeper.add_case(case)
        codes.append((days, case.code))
    assert [case.code for case in keeper.cases()] == [code for _, code in sorted(codes)]


def test_a_change_is_a_further_version_and_the_history_tells_who_what_and_when(
    keeper: Keeper,
) -> None:
    clinic = a_clinic(keeper)
    with keeper.transaction(by="human:obs-7"):
        changed = keeper.change_case(
            replace(clinic.case, summary="operated 2026"), expected_version=1
        )
    assert changed == replace(clinic.case, summary="operated 2026", version=2)
    assert keeper.case(clinic.case.id) == changed
    first, second = keeper.history_of(clinic.case.id)
    assert (first.version, first.before) == (1, {})
    assert first.after == {"summary": clinic.case.summary}
    assert (second.version, second.by) == (2, "human:obs-7")
    assert second.before == {"summary": clinic.case.summary}
    assert second.after == {"summary": "operated 2026"}
    assert second.at >= first.at


def test_the_history_of_an_image_holds_only_the_fields_that_differ(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    keeper.change_image(
        replace(clinic.film, view=View.DUNN_45, confirmed=True), expected_version=1
    )
    change = keeper.history_of(clinic.film.id)[-1]
    assert set(change.before) == set(change.after) == {"view", "confirmed"}


def test_saving_what_is_kept_already_changes_nothing(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    assert keeper.change_case(clinic.case, expected_version=1) == clinic.case
    assert keeper.change_image(clinic.film, expected_version=1) == clinic.film
    assert keeper.change_person(clinic.person, expected_version=1) == clinic.person
    assert len(keeper.history_of(clinic.case.id)) == 1
    landmarks = some_landmarks(clinic.film)
    saved = keeper.save_reading(clinic.case.id, landmarks, expected_version=0)
    again = keeper.save_reading(clinic.case.id, landmarks, expected_version=0)
    assert (again.id, again.version) == (saved.id, 1)


def test_a_stale_write_is_refused_with_both_values(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    newer = keeper.change_case(replace(clinic.case, summary="mine"), expected_version=1)
    offered = replace(clinic.case, summary="yours")
    with pytest.raises(StaleWriteError) as refusal:
        keeper.change_case(offered, expected_version=1)
    assert refusal.value.kept == newer
    assert refusal.value.offered == offered
    assert keeper.case(clinic.case.id) == newer


def test_a_stale_reading_is_refused_with_both_values(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    kept = keeper.save_reading(clinic.case.id, some_landmarks(clinic.film), expected_version=0)
    offered = some_landmarks(clinic.film, x_px=99.0)
    with pytest.raises(StaleWriteError) as refusal:
        keeper.save_reading(clinic.case.id, offered, expected_version=0)
    found = refusal.value.kept
    assert getattr(found, "id", None) == kept.id
    assert refusal.value.offered is offered
    with pytest.raises(StaleWriteError):
        keeper.save_reading(clinic.case.id, offered, expected_version=2)


def test_what_is_fixed_cannot_change(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    with pytest.raises(KeepingError):
        keeper.change_case(replace(clinic.case, side=Side.RIGHT), expected_version=1)
    with pytest.raises(KeepingError):
        keeper.change_image(replace(clinic.film, rows=17), expected_version=1)
    with pytest.raises(KeepingError):
        keeper.change_person(replace(clinic.person, invented=False), expected_version=1)
    assert keeper.image(clinic.film.id) == clinic.film


def test_a_person_can_be_corrected(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    corrected = replace(clinic.person, birth_date_shifted=date(1990, 1, 1))
    assert keeper.change_person(corrected, expected_version=1) == replace(corrected, version=2)
    assert keeper.person(clinic.person.id).birth_date_shifted == date(1990, 1, 1)


def test_a_series_can_be_completed_by_slices_that_come_later(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    series = a_film(keeper, clinic.study, b"slice 1", b"slice 3")
    keeper.add_image(series)
    late = keeper.put_file(b"slice 2")
    files = (series.files[0], late, series.files[1])
    fuller = replace(series, files=files, source_uids=("2.25.1", "2.25.2", "2.25.3"))
    completed = keeper.change_image(fuller, expected_version=1)
    assert keeper.image(series.id) == completed == replace(fuller, version=2)
    moved = keeper.change_image(replace(completed, phase="after surgery"), expected_version=2)
    assert keeper.image(series.id).files == moved.files == files
    history = keeper.history_of(series.id)
    assert (history[1].before["files"], history[1].after["files"]) == (2, 3)
    assert "files" not in history[2].after
    assert [i.id for i in keeper.images_with_file(late)] == [series.id]


def test_studies_and_images_are_found_by_the_uids_they_came_with(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    assert keeper.study_from(clinic.study.source_uid) == clinic.study
    assert keeper.study_from("2.25.404") is None
    assert list(keeper.images_from(clinic.film.source_uids[0])) == [clinic.film]
    assert list(keeper.images_from("2.25.404")) == []
    assert list(keeper.images_with_file(clinic.film.files[0])) == [clinic.film]


def test_one_study_of_the_sender_is_kept_once_but_many_may_have_no_uid(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    with pytest.raises(KeepingError):
        keeper.add_study(
            a_study(keeper, clinic.person, source_uid=clinic.study.source_uid, label="again")
        )
    for _ in range(2):
        keeper.add_study(a_study(keeper, clinic.person, source_uid=""))
    assert len(keeper.studies_of(clinic.person.id)) == 3


def test_studies_are_listed_oldest_first_and_undated_last(keeper: Keeper) -> None:
    person = a_person(keeper)
    keeper.add_person(person)
    for taken in (None, date(2021, 1, 1), date(2020, 1, 1)):
        keeper.add_study(a_study(keeper, person, acquired_on=taken))
    dates = [study.acquired_on for study in keeper.studies_of(person.id)]
    assert dates == [date(2020, 1, 1), date(2021, 1, 1), None]


def test_an_image_needs_its_files_first_and_a_study_of_the_same_person(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    stranger = a_person(keeper)
    keeper.add_person(stranger)
    for wrong in (
        {"files": ("0" * 64,)},
        {"files": ()},
        {"source_uids": ("2.25.1", "2.25.2")},
        {"person": stranger.id},
        {"study": keeper.new_id()},
    ):
        image = replace(a_film(keeper, clinic.study), **wrong)
        with pytest.raises(KeepingError):
            keeper.add_image(image)
    assert list(keeper.images_of(clinic.person.id)) == [clinic.film]
    assert list(keeper.images_of(stranger.id)) == []


def test_landmarks_come_back_to_the_last_bit(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    given = some_landmarks(clinic.film)
    saved = keeper.save_reading(clinic.case.code, given, expected_version=0)
    (kept,) = keeper.readings_of(clinic.film.id)
    assert (kept.id, kept.case, kept.version) == (saved.id, clinic.case.id, 1)
    assert kept.saved_at == saved.saved_at
    assert kept.landmarks.points == given.points
    assert kept.landmarks.contours == given.contours
    assert (kept.landmarks.observer, kept.landmarks.reading) == ("human:obs-1", 1)


def test_every_observer_and_reading_is_kept_apart_with_all_versions(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    for version in range(3):
        moved = some_landmarks(clinic.film, x_px=float(version))
        keeper.save_reading(clinic.case.id, moved, expected_version=version)
    second = some_landmarks(clinic.film, reading=2)
    other = some_landmarks(clinic.film, observer="human:obs-2")
    keeper.save_reading(clinic.case.id, second, expected_version=0)
    keeper.save_reading(clinic.case.id, other, expected_version=0)
    found = {
        (r.landmarks.observer, r.landmarks.reading): r.version
        for r in keeper.readings_of(clinic.film.id)
    }
    assert found == {("human:obs-1", 1): 3, ("human:obs-1", 2): 1, ("human:obs-2", 1): 1}
    history = keeper.reading_history(clinic.film.id, "human:obs-1", 1)
    assert [r.version for r in history] == [1, 2, 3]
    assert [r.landmarks.points[0].x_px for r in history] == [0.0, 1.0, 2.0]
    assert list(keeper.reading_history(clinic.film.id, "human:nobody", 1)) == []


def test_both_hips_of_a_film_are_read_in_one_reading_from_either_case(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    right = a_case(keeper, clinic.person, side=Side.RIGHT)
    keeper.add_case(right)
    left_pass = some_landmarks(clinic.film)
    keeper.save_reading(clinic.case.id, left_pass, expected_version=0)
    both = left_pass.replacing([PlacedPoint(id="teardrop", side=Side.RIGHT, x_px=1.0, y_px=2.0)])
    keeper.save_reading(right.id, both, expected_version=1)
    (kept,) = keeper.readings_of(clinic.film.id)
    assert (kept.version, kept.case) == (2, right.id)
    assert len(kept.landmarks.points) == 3


def test_a_reading_on_another_persons_image_is_refused(keeper: Keeper) -> None:
    mine, yours = a_clinic(keeper), a_clinic(keeper)
    with pytest.raises(KeepingError):
        keeper.save_reading(mine.case.id, some_landmarks(yours.film), expected_version=0)
    with pytest.raises(KeepingError):
        keeper.save_grade(a_grade(keeper, mine, "1", image=yours.film.id))
    assert list(keeper.readings_of(yours.film.id)) == []
    assert list(keeper.grades_of(mine.case.id)) == []


def test_a_later_grade_takes_the_place_of_an_older_one_of_the_same_kind(keeper: Keeper) -> None:
    clinic = a_clinic(keeper)
    first = a_grade(keeper, clinic, "1")
    corrected = a_grade(keeper, clinic, "2", saved_at=OPENED + timedelta(minutes=1))
    other_reader = a_grade(keeper, clinic, "0", observer="human:obs-2")
    of_the_case = a_grade(keeper, clinic, "3", image=None, details={})
    for grade in (corrected, first, other_reader, of_the_case):
        keeper.save_grade(grade)
    assert {g.id: g for g in keeper.grades_of(clinic.case.code)} == {
        g.id: g for g in (corrected, other_reader, of_the_case)
    }


def test_repeat_readings_are_those_of_films_an_observer_read_more_than_once(
    keeper: Keeper,
) -> None:
    clinic = a_clinic(keeper)
    other = a_film(keeper, clinic.study)
    keeper.add_image(other)

    def read(image: str, observer: str, number: int, x: float) -> None:
        placed = PlacedPoint(id="symphysis_superior", side=None, x_px=x, y_px=20.0)
        landmarks = LandmarkSet(image=image, observer=observer, reading=number, points=(placed,))
        kept = keeper.reading_history(image, observer, number)
        keeper.save_reading(clinic.case.id, landmarks, expected_version=len(kept))

    read(clinic.film.id, "human:a", 1, 10.0)
    read(clinic.film.id, "human:a", 2, 11.0)
    read(clinic.film.id, "human:a", 2, 12.0)
    read(clinic.film.id, "human:b", 1, 13.0)
    read(other.id, "human:a", 1, 14.0)

    found = [reading.landmarks.points[0].x_px for reading in keeper.repeat_readings_by("human:a")]
    assert sorted(found) == [10.0, 12.0]
    assert list(keeper.repeat_readings_by("human:b")) == []


def test_the_same_file_is_kept_once_under_its_digest(keeper: Keeper) -> None:
    # SHA-256 of "abc": FIPS 180-4's example value
    abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert keeper.put_file(b"abc") == abc == keeper.put_file(b"abc")
    assert keeper.get_file(abc) == b"abc"
    assert keeper.has_file(abc)
    assert not keeper.has_file("0" * 64)


def test_a_transaction_that_fails_leaves_nothing(keeper: Keeper) -> None:
    person = a_person(keeper)

    def fail_half_way() -> None:
        with keeper.transaction():
            keeper.add_person(person)
            keeper.add_case(a_case(keeper, person))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert list(keeper.persons()) == list(keeper.cases()) == []


def test_a_nested_transaction_joins_the_outer_one(keeper: Keeper) -> None:
    person = a_person(keeper)

    def fail_after_the_inner_one() -> None:
        with keeper.transaction():
            with keeper.transaction():
                keeper.add_person(person)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_after_the_inner_one()
    assert list(keeper.persons()) == []


def test_what_failed_inside_a_transaction_leaves_nothing_though_the_rest_is_kept(
    keeper: Keeper,
) -> None:
    clinic = a_clinic(keeper)
    good = a_person(keeper)
    with keeper.transaction():
        keeper.add_person(good)
        with pytest.raises(KeepingError):
            keeper.add_image(replace(a_film(keeper, clinic.study), files=("0" * 64,)))
    assert keeper.person(good.id) == good
    assert list(keeper.images_of(clinic.person.id)) == [clinic.film]


def test_an_open_transaction_sees_its_own_writes(keeper: Keeper) -> None:
    person = a_person(keeper)
    with keeper.transaction():
        keeper.add_person(person)
        assert keeper.person(person.id) == person
    assert np.array_equal([p.id for p in keeper.persons()], [person.id])
