"""Films of the demonstration people as DICOM files; stick people stand before the camera here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pydicom
import pytest
from pydicom.uid import JPEG2000Lossless

from hipwright.adapters.dicom.demonstration_studio import ProcessStudio
from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.catalog.demonstration import Story, stories
from hipwright.domain.landmarks import PlacedPoint
from hipwright.phantoms.demonstration import DEMONSTRATION_PEOPLE
from hipwright.phantoms.demonstration_films import film_plan
from hipwright.phantoms.demonstration_scans import scan_plan
from hipwright.workflows.build_demonstration import TakenFile, Visit
from tests.stick_studio import StickStudio, put_up_stick_people

COARSE = 8


def story_of(key: str) -> Story:
    return next(story for story in stories() if story.key == key)


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sequence[TakenFile]]:
    """The dancer's films, taken in this process."""
    with pytest.MonkeyPatch.context() as patch:
        put_up_stick_people(patch)
        yield take("dancer", tmp_path_factory.mktemp("studio"))


def take(key: str, folder: Path) -> Sequence[TakenFile]:
    return visit(key, folder).films


def visit(key: str, folder: Path) -> Visit:
    ((_, found),) = StickStudio().take([story_of(key)], folder)
    return found


def test_every_planned_film_is_taken_in_its_order(taken: Sequence[TakenFile]) -> None:
    person = next(person for person in DEMONSTRATION_PEOPLE if person.key == "dancer")
    planned = [film.key for film in film_plan(person).films]
    assert [file.path.stem for file in taken] == planned
    assert [file.truth.image for file in taken] == [f"dancer.{key}" for key in planned]


def test_files_say_whose_they_are_and_that_nobody_is_meant(taken: Sequence[TakenFile]) -> None:
    story = story_of("dancer")
    for file in taken:
        film = pydicom.dcmread(file.path)
        assert (str(film.PatientName), film.PatientID) == (story.name, story.patient_number)
        assert film.PatientSex == "F"
        assert film.PatientBirthDate == f"{story.born:%Y%m%d}"
        assert film.StudyDate == f"{story.filmed:%Y%m%d}"
        assert str(film.SOPInstanceUID) == file.instance_uid
        assert len(film.AccessionNumber) <= 16  # PS3.5, value representation SH


def test_films_after_an_operation_are_a_later_study_and_some_machines_write_cr(
    taken: Sequence[TakenFile], tmp_path: Path
) -> None:
    story = story_of("handball_keeper")
    films = {f.path.stem: pydicom.dcmread(f.path) for f in take("handball_keeper", tmp_path)}
    assert films["ap"].StudyInstanceUID == films["dunn"].StudyInstanceUID
    assert films["ap"].StudyInstanceUID != films["after_ap"].StudyInstanceUID
    assert films["after_ap"].StudyDate == f"{story.filmed_after_operation:%Y%m%d}"
    assert {film.Modality for film in films.values()} == {"DX"}
    rescuer = take("mountain_rescuer", tmp_path)
    assert {pydicom.dcmread(file.path).Modality for file in rescuer} == {"CR"}


def test_films_of_one_person_are_one_study_and_files_are_distinct(
    taken: Sequence[TakenFile],
) -> None:
    films = [pydicom.dcmread(file.path, stop_before_pixels=True) for file in taken]
    assert len({film.StudyInstanceUID for film in films}) == 1
    assert len({film.SeriesInstanceUID for film in films}) == len(films)
    assert len({film.SOPInstanceUID for film in films}) == len(films)


def test_the_same_files_come_out_each_time(taken: Sequence[TakenFile], tmp_path: Path) -> None:
    for one, other in zip(taken, take("dancer", tmp_path), strict=True):
        assert one.instance_uid == other.instance_uid
        assert one.path.read_bytes() == other.path.read_bytes()


def test_three_people_have_scans_and_one_of_them_the_knees_in_the_same_frame(
    tmp_path: Path,
) -> None:
    plans = {person.key: len(scan_plan(person)) for person in DEMONSTRATION_PEOPLE}
    assert {key: count for key, count in plans.items() if count} == {
        "rower": 1,
        "dancer": 2,
        "handball_keeper": 1,
    }
    scans = visit("dancer", tmp_path).scans
    hips, knees = (
        [pydicom.dcmread(path) for path in sorted(scan.folder.iterdir())] for scan in scans
    )
    first, other = hips[0], knees[0]
    assert str(first.SOPInstanceUID) == scans[0].instance_uid
    assert first.StudyInstanceUID == other.StudyInstanceUID
    assert first.FrameOfReferenceUID == other.FrameOfReferenceUID
    assert first.SeriesInstanceUID != other.SeriesInstanceUID
    assert other.ImagePositionPatient[2] < first.ImagePositionPatient[2] - 200
    assert first.file_meta.TransferSyntaxUID == JPEG2000Lossless
    values = first.pixel_array * first.RescaleSlope + first.RescaleIntercept
    assert values.min() < -900
    assert values.max() > 300


def test_nobody_wanted_means_no_worker_is_started(tmp_path: Path) -> None:
    def no_model() -> None:
        raise AssertionError

    studio = ProcessStudio(no_model)  # pyright: ignore[reportArgumentType] (never read) - never called
    assert list(studio.take([], tmp_path)) == []


@pytest.mark.slow
def test_workers_take_real_films_with_landmarks_on_them_in_the_stories_order(
    tmp_path: Path,
) -> None:
    wanted = [story_of("dancer"), story_of("handball_keeper")]
    studio = ProcessStudio(read_shape_model, thinned=COARSE)
    found = list(studio.take(wanted, tmp_path))
    assert [story.key for story, _ in found] == ["dancer", "handball_keeper"]
    for story, taken in found:
        person = next(person for person in DEMONSTRATION_PEOPLE if person.key == story.key)
        assert [file.path.stem for file in taken.films] == [f.key for f in film_plan(person).films]
        for file in taken.films:
            film = pydicom.dcmread(file.path)
            assert np.ptp(film.pixel_array) > 1000
            for item in file.truth:
                places = [(item.x_px, item.y_px)] if isinstance(item, PlacedPoint) else item.xy_px
                for x, y in places:
                    assert -0.5 <= x <= film.Columns - 0.5
                    assert -0.5 <= y <= film.Rows - 0.5
