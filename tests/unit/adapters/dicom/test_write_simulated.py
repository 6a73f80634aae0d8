"""Simulated studies as DICOM: valid by an independent program, and read back unchanged."""

import subprocess
from collections.abc import Callable
from datetime import date, time
from functools import cache
from io import BytesIO
from itertools import islice
from pathlib import Path

import numpy as np
import pydicom
import pytest

from hipwright.adapters.dicom.proposals import propose
from hipwright.adapters.dicom.write_ct import ct_datasets
from hipwright.adapters.dicom.write_film import FilmObject, described, film_dataset
from hipwright.adapters.dicom.write_simulated import InventedStudy, SeriesPlace, repeatable_uids
from hipwright.domain.keeping import Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import Posture, View
from hipwright.phantoms.ct_simulator import CtSetup, simulate_ct
from hipwright.phantoms.film_setup import dunn_45, false_profile, pelvis_ap
from hipwright.phantoms.film_simulator import FilmExtras, SimulatedFilm, simulate_film
from tests.unit.phantoms.stick_people import stick_skeleton

SMALL = {"columns": 120, "rows": 100, "pixel_mm": 3.0}
SETUPS = {
    "pelvis": pelvis_ap(**SMALL),
    "standing": pelvis_ap(posture=Posture.STANDING, **SMALL),
    "dunn": dunn_45(Side.LEFT, **SMALL),
    "profile": false_profile(Side.RIGHT, **SMALL),
}


def a_study() -> InventedStudy:
    uids = repeatable_uids("study of the writer's tests")
    return InventedStudy(
        patient_id="INVENTED-1",
        patient_name="Invented^Person",
        birth_date=date(2000, 5, 17),
        sex="F",
        study_uid=next(uids),
        frame_uid=next(uids),
        day=date(2026, 3, 2),
        hour=time(9, 30),
        accession="INV1",
        description="Invented hip study",
    )


@cache
def a_film(name: str, *, inverted: bool = False) -> SimulatedFilm:
    extras = FilmExtras(inverted=inverted)
    return simulate_film(stick_skeleton(), SETUPS[name], np.random.default_rng(4), extras=extras)


def written(film: SimulatedFilm, kind: FilmObject) -> bytes:
    uids = repeatable_uids("film of the writer's tests")
    place = SeriesPlace(
        series_uid=next(uids),
        instance_uid=next(uids),
        series_number=1,
        description=described(film),
    )
    buffer = BytesIO()
    film_dataset(film, a_study(), place, kind).save_as(buffer, enforce_file_format=True)
    return buffer.getvalue()


def complaints(dciodvfy: Path, content: bytes, folder: Path) -> list[str]:
    file = folder / "object.dcm"
    file.write_bytes(content)
    done = subprocess.run([dciodvfy, file], capture_output=True, text=True, check=False)
    return [line for line in (done.stderr + done.stdout).splitlines() if "Error" in line]


@pytest.mark.parametrize("inverted", [False, True], ids=["bone bright", "bone dark"])
@pytest.mark.parametrize("kind", list(FilmObject), ids=lambda kind: kind.value)
@pytest.mark.parametrize("name", list(SETUPS))
def test_a_written_film_is_valid_for_an_independent_validator(
    name: str,
    kind: FilmObject,
    inverted: bool,
    program: Callable[[str], Path],
    tmp_path: Path,
):
    content = written(a_film(name, inverted=inverted), kind)
    assert complaints(program("dciodvfy"), content, tmp_path) == []


def test_the_validator_would_complain(program: Callable[[str], Path], tmp_path: Path):
    dataset = pydicom.dcmread(BytesIO(written(a_film("dunn"), FilmObject.CR)))
    del dataset.PatientOrientation, dataset.BitsStored
    buffer = BytesIO()
    dataset.save_as(buffer)
    assert complaints(program("dciodvfy"), buffer.getvalue(), tmp_path)


@pytest.mark.parametrize("kind", list(FilmObject), ids=lambda kind: kind.value)
def test_pixels_and_geometry_of_a_film_come_back_as_they_were(kind: FilmObject):
    film = a_film("dunn", inverted=True)
    read = pydicom.dcmread(BytesIO(written(film, kind)))
    assert np.array_equal(read.pixel_array, film.pixels)
    assert read.PhotometricInterpretation == "MONOCHROME1"
    assert [float(v) for v in read.ImagerPixelSpacing] == [3.0, 3.0]
    assert float(read.DistanceSourceToDetector) == 1020.0
    assert float(read.DistanceSourceToPatient) == 870.0
    assert read.PatientComments.startswith("Simulated")
    assert read.PatientAge == "025Y"
    if kind is not FilmObject.CR:
        found = float(read.EstimatedRadiographicMagnificationFactor)
        assert found == pytest.approx(1020 / 870, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "view", "laterality", "posture"),
    [
        ("pelvis", View.PELVIS_AP, Laterality.BOTH, Posture.SUPINE),
        ("standing", View.PELVIS_AP, Laterality.BOTH, Posture.STANDING),
        ("dunn", View.DUNN_45, Laterality.LEFT, Posture.SUPINE),
        ("profile", View.FALSE_PROFILE, Laterality.RIGHT, Posture.STANDING),
    ],
)
@pytest.mark.parametrize("kind", list(FilmObject), ids=lambda kind: kind.value)
def test_the_header_says_view_side_and_posture(
    name: str, view: View, laterality: Laterality, posture: Posture, kind: FilmObject
):
    read = pydicom.dcmread(BytesIO(written(a_film(name), kind)))
    found = propose(read, read.Modality)
    assert (found.view, found.laterality, found.posture) == (view, laterality, posture)
    assert found.patient_right_at_image_left
    assert not found.warnings


def test_patient_orientation_follows_the_beam():
    ap = pydicom.dcmread(BytesIO(written(a_film("pelvis"), FilmObject.CR)))
    assert list(ap.PatientOrientation) == ["L", "F"]
    # turned 65 degrees to the right, the patient's back comes to the right of the film
    profile = pydicom.dcmread(BytesIO(written(a_film("profile"), FilmObject.CR)))
    assert list(profile.PatientOrientation) == ["PL", "F"]


def test_uids_follow_from_the_seed_and_never_repeat():
    one = list(islice(repeatable_uids("a"), 500))
    assert one == list(islice(repeatable_uids("a"), 500))
    assert len(set(one) | set(islice(repeatable_uids("b"), 500))) == 1000
    assert all(uid.is_valid and uid.startswith("2.25.") for uid in one)


@pytest.fixture(scope="module")
def ct() -> tuple[np.ndarray, list[bytes]]:
    setup = CtSetup(columns=64, rows=48, pixel_mm=6.0, slice_mm=4.0, from_mm=-10, to_mm=10)
    volume = simulate_ct(stick_skeleton(), setup, np.random.default_rng(3))
    slices: list[bytes] = []
    for dataset in ct_datasets(volume, a_study(), repeatable_uids("ct of the writer's tests")):
        buffer = BytesIO()
        dataset.save_as(buffer, enforce_file_format=True)
        slices.append(buffer.getvalue())
    return volume.hu, slices


def test_a_written_ct_slice_is_valid_for_an_independent_validator(
    ct: tuple[np.ndarray, list[bytes]], program: Callable[[str], Path], tmp_path: Path
):
    for content in (ct[1][0], ct[1][-1]):
        assert complaints(program("dciodvfy"), content, tmp_path) == []


def test_hounsfield_values_and_places_of_a_ct_come_back(ct: tuple[np.ndarray, list[bytes]]):
    hu, slices = ct
    read = [pydicom.dcmread(BytesIO(content)) for content in slices]
    assert len(read) == 5
    for index, one in enumerate(read):
        back = one.pixel_array * float(one.RescaleSlope) + float(one.RescaleIntercept)
        assert np.array_equal(back, hu[index])
        assert float(one.ImagePositionPatient[2]) == pytest.approx(-8.0 + 4.0 * index)
    assert float(read[0].ImagePositionPatient[0]) == pytest.approx(-63 / 2 * 6.0)
    assert len({one.SOPInstanceUID for one in read}) == 5
    assert len({one.SeriesInstanceUID for one in read}) == 1
