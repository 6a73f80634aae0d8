"""The demonstration clinic: taken in by everybody's door, read, repeatable, and nobody real."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from hipwright.catalog.demonstration import Story, stories
from hipwright.domain.keeping import ImageKind
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.phantoms.demonstration import DEMONSTRATION_PEOPLE
from hipwright.phantoms.demonstration_films import film_plan
from hipwright.phantoms.demonstration_scans import scan_plan
from hipwright.wiring import Workspace, demonstration_clinic, open_workspace
from hipwright.workflows import build_demonstration as building
from hipwright.workflows.build_demonstration import (
    READERS,
    Clinic,
    build_demonstration,
    is_built,
)
from hipwright.workflows.measure_hip import measure_case
from tests.dicom_makers import silent
from tests.stick_studio import StickStudio, put_up_stick_people

PLANS = {person.key: film_plan(person).films for person in DEMONSTRATION_PEOPLE}
SCANS = {person.key: scan_plan(person) for person in DEMONSTRATION_PEOPLE}
LCEA = "lateral_center_edge_angle.sourcil"


def clinic(opened: Workspace, studio: StickStudio | None = None) -> Clinic:
    return replace(demonstration_clinic(opened), studio=studio or StickStudio())


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    """A workspace with the whole clinic, of stick people."""
    folder = tmp_path_factory.mktemp("demonstration")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HIPWRIGHT_CONFIG", str(folder / "config"))
        put_up_stick_people(patch)
        with open_workspace(folder / "workspace", create=True) as workspace:
            build_demonstration(clinic(workspace), silent)
            yield workspace


@pytest.fixture
def two_stories(monkeypatch: pytest.MonkeyPatch) -> tuple[Story, ...]:
    put_up_stick_people(monkeypatch)
    two = tuple(story for story in stories() if story.key in {"rower", "mountain_rescuer"})
    monkeypatch.setattr(building, "stories", lambda: two)
    return two


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workspace]:
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "config"))
    with open_workspace(tmp_path / "workspace", create=True) as workspace:
        yield workspace


def contents(opened: Workspace) -> dict[str, object]:
    keeper = opened.keeper
    people = keeper.persons()
    return {
        "people": people,
        "cases": keeper.cases(),
        "images": [keeper.images_of(person.id) for person in people],
        "readings": [
            [(r.id, r.version) for r in keeper.readings_of(image.id)]
            for person in people
            for image in keeper.images_of(person.id)
        ],
        "grades": [keeper.grades_of(case.id) for case in keeper.cases()],
    }


def test_every_story_is_a_case_with_its_side_films_grades_and_words(opened: Workspace) -> None:
    keeper = opened.keeper
    assert is_built(keeper)
    assert len(keeper.cases()) == len(stories())
    for story in stories():
        case = keeper.case(story.code)
        assert (case.side, case.summary) == (Side(story.side), story.summary)
        images = keeper.images_of(case.person)
        scans = [image for image in images if image.kind is ImageKind.SERIES]
        assert len(scans) == len(SCANS[story.key])
        assert len(images) - len(scans) == len(PLANS[story.key])
        grades = {grade.definition: grade for grade in keeper.grades_of(case.id)}
        assert {key: grade.value for key, grade in grades.items()} == dict(story.grades)
        for definition, details in story.details.items():
            assert grades[definition].details == dict(details)


def test_every_person_and_case_is_marked_as_invented(opened: Workspace) -> None:
    assert all(person.invented for person in opened.keeper.persons())
    assert all(case.invented for case in opened.keeper.cases())


def test_ages_on_the_films_are_those_of_the_stories(opened: Workspace) -> None:
    for story in stories():
        person = opened.keeper.person(opened.keeper.case(story.code).person)
        assert person.birth_date_shifted is not None
        assert person.sex == story.sex
        images = opened.keeper.images_of(person.id)
        ages = {(i.acquired_on - person.birth_date_shifted).days for i in images if i.acquired_on}
        days = {
            story.filmed_after_operation if planned.stage == "after_operation" else story.filmed
            for planned in PLANS[story.key]
        }
        assert ages == {(day - story.born).days for day in days}
        assert person.birth_date_shifted != story.born


def test_every_film_is_confirmed_and_read_and_ap_films_are_read_four_times(
    opened: Workspace,
) -> None:
    keeper = opened.keeper
    for person in keeper.persons():
        for image in keeper.images_of(person.id):
            readings = keeper.readings_of(image.id)
            assert image.confirmed
            expected = 4 if image.view is View.PELVIS_AP else int(image.view is not View.CT)
            assert len(readings) == expected
            assert {reading.landmarks.observer for reading in readings} <= set(READERS)
            assert len({reading.landmarks.points for reading in readings}) == len(readings)


def test_the_first_readers_first_reading_is_the_one_that_counts(opened: Workspace) -> None:
    case = opened.keeper.case("DEMO-1")
    for shown in measure_case(opened.keeper, case):
        assert shown.reading is not None
        landmarks = shown.reading.landmarks
        assert (landmarks.observer, landmarks.reading) == (READERS[0], 1)
        if shown.image.view is View.PELVIS_AP:
            found = {f.definition: f for f in shown.findings if isinstance(f, Measurement)}
            assert found[LCEA].estimate.low < found[LCEA].value < found[LCEA].estimate.high


def test_no_byte_of_the_workspace_tells_a_name_a_number_or_a_birth_date(
    opened: Workspace,
) -> None:
    secrets = [
        secret.encode()
        for story in stories()
        for secret in (story.name, story.name.split("^")[1], story.patient_number)
    ]
    secrets += [
        f"{story.born:{form}}".encode() for story in stories() for form in ("%Y%m%d", "%Y-%m-%d")
    ]
    searched = 0
    for path in opened.folder.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            searched += len(content)
            assert not [secret for secret in secrets if secret in content], path.name
    assert searched > 100_000
    person = opened.keeper.case("DEMO-1").person
    identity = opened.identity.of(person)
    assert identity is not None  # who it is lies there, and only encrypted
    assert "Rower" in identity.name


def test_making_it_again_takes_no_film_and_changes_nothing(opened: Workspace) -> None:
    before, studio = contents(opened), StickStudio()
    build_demonstration(clinic(opened, studio), silent)
    assert studio.asked == []
    assert contents(opened) == before


def test_an_interrupted_build_goes_on_where_it_stopped(
    empty: Workspace, two_stories: tuple[Story, ...]
) -> None:
    first, second = two_stories
    with pytest.raises(KeyboardInterrupt):
        build_demonstration(clinic(empty, StickStudio(breaks_before=second.key)), silent)
    assert not is_built(empty.keeper)
    assert [case.code for case in empty.keeper.cases()] == [first.code]
    studio = StickStudio()
    build_demonstration(clinic(empty, studio), silent)
    assert studio.asked == [second.key]
    assert is_built(empty.keeper)


def test_a_person_taken_in_but_not_read_is_finished_without_a_second_copy(
    empty: Workspace, two_stories: tuple[Story, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    def power_cut(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(building, "_grade", power_cut)
        with pytest.raises(KeyboardInterrupt):
            build_demonstration(clinic(empty), silent)
    (case,) = empty.keeper.cases()
    images = empty.keeper.images_of(case.person)
    assert not [r for image in images for r in empty.keeper.readings_of(image.id)]
    build_demonstration(clinic(empty), silent)
    assert is_built(empty.keeper)
    assert len(empty.keeper.persons()) == len(two_stories)
    assert [i.id for i in empty.keeper.images_of(case.person)] == [i.id for i in images]


def test_progress_counts_people(empty: Workspace, two_stories: tuple[Story, ...]) -> None:
    told: list[tuple[str, int, int]] = []
    build_demonstration(clinic(empty), lambda *now: told.append(now))
    assert [now[1:] for now in told] == [(0, 2), (1, 2), (2, 2)]
    assert told[-1][0] == f"{two_stories[-1].code} is in"
