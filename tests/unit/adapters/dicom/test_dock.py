"""What the dock makes of files: images, refusals, questions."""

import io
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image as Pictures
from pydicom.uid import UID, SecondaryCaptureImageStorage

from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Identity, ImageKind
from hipwright.domain.study import SpacingSource, View
from hipwright.workflows.ports import Asked
from tests.dicom_makers import (
    OpenIdentities,
    as_bytes,
    ct_slice,
    dock,
    film,
    gradient,
    read,
    saved,
    silent,
    stored,
)


def reasons(*paths: Path) -> list[str]:
    return [one.reason for one in read(*paths).rejected]


def test_a_film_comes_in_with_view_side_and_scale(tmp_path: Path) -> None:
    arrival = read(saved(film(), tmp_path / "a.dcm")).arrivals[0]
    image = arrival.images[0].image
    assert (image.kind, image.view, image.modality) == (ImageKind.FILM, View.PELVIS_AP, "DX")
    assert image.calibration.source is SpacingSource.ASSUMED
    assert image.calibration.column_mm == pytest.approx(0.15 / 1.175)
    assert arrival.questions == ()


def test_slices_are_ordered_by_where_they_lie(tmp_path: Path) -> None:
    for number, z in ((1, 30.0), (2, 10.0), (3, 20.0)):
        saved(ct_slice(number, z), tmp_path / f"{number}.dcm")
    (image,) = read(tmp_path).arrivals[0].images
    assert len(image.contents) == 3
    places = [float(d.ImagePositionPatient[2]) for d in stored(read(tmp_path))]
    assert places == [10.0, 20.0, 30.0]
    assert image.image.warnings == ()


def test_a_missing_slice_is_noticed(tmp_path: Path) -> None:
    for number in (1, 2, 3, 5, 6):
        saved(ct_slice(number, float(number)), tmp_path / f"{number}.dcm")
    (image,) = read(tmp_path).arrivals[0].images
    assert "about 1 slices are missing" in image.image.warnings[0]


def test_two_passes_of_one_series_are_parted(tmp_path: Path) -> None:
    for number in range(1, 7):
        one = ct_slice(number, float(number % 3), AcquisitionNumber=1 + number // 4)
        saved(one, tmp_path / f"{number}.dcm")
    images = read(tmp_path).arrivals[0].images
    assert [len(image.contents) for image in images] == [3, 3]
    assert "passes" in images[0].image.warnings[0]


def test_turning_slices_stay_one_series_in_the_senders_order(tmp_path: Path) -> None:
    for number in range(1, 6):
        angle = np.radians(30 * number)
        turned = [float(np.cos(angle)), float(np.sin(angle)), 0.0, 0.0, 0.0, -1.0]
        one = ct_slice(6 - number, 0.0, ImageOrientationPatient=[round(x, 6) for x in turned])
        saved(one, tmp_path / f"{number}.dcm")
    (image,) = read(tmp_path).arrivals[0].images
    assert len(image.contents) == 5
    assert [int(d.InstanceNumber) for d in stored(read(tmp_path))] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"PixelData": None}, "no pixel data"),
        ({"Rows": None}, "does not give Rows"),
        ({"Rows": 0}, "absurd"),
        ({"Columns": 60000, "Rows": 60000}, "absurd"),
        ({"NumberOfFrames": 3}, "3 frames"),
        ({"BitsAllocated": 32}, "bits"),
        ({"BitsStored": 17}, "bits"),
        ({"PhotometricInterpretation": "RGB"}, "contradict"),
        ({"PhotometricInterpretation": None}, "how its pixels"),
        ({"SOPInstanceUID": None}, "identify itself"),
        ({"SOPClassUID": "1.2.840.10008.5.1.4.1.1.6.1"}, "Ultrasound"),
        ({"SOPClassUID": "1.2.840.10008.5.1.4.1.1.2.1"}, "one file a slice"),
        ({"SOPClassUID": "1.2.3"}, "unknown kind"),
        ({"PixelData": b"\0" * 100}, "Truncated"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(
    tmp_path: Path, changes: dict[str, Any], reason: str
) -> None:
    dataset = film(**changes)
    if "SOPInstanceUID" in changes:
        dataset.file_meta.MediaStorageSOPInstanceUID = UID("1.2.3")
        path = tmp_path / "a.dcm"
        dataset.save_as(path, implicit_vr=False, little_endian=True)
    else:
        path = saved(dataset, tmp_path / "a.dcm")
    (said,) = reasons(path)
    assert reason in said


def test_an_absurd_spacing_is_a_warning_and_no_scale(tmp_path: Path) -> None:
    image = read(saved(film(ImagerPixelSpacing=[0, 0]), tmp_path / "a.dcm")).arrivals[0].images[0]
    assert not image.image.calibration.is_calibrated
    assert "absurd" in image.image.warnings[0]


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 11_000))
def test_a_file_cut_anywhere_is_refused_or_whole(tmp_path: Path, cut: int) -> None:
    whole = as_bytes(film())
    path = tmp_path / "cut.dcm"
    path.write_bytes(whole[: min(cut, len(whole))])
    delivery = read(path)
    assert bool(delivery.rejected) == (cut < len(whole))


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 1000), st.binary(min_size=1, max_size=12))
def test_a_damaged_header_never_crashes_the_dock(
    tmp_path: Path, place: int, damage: bytes
) -> None:
    content = bytearray(as_bytes(film()))
    content[place : place + len(damage)] = damage
    path = tmp_path / "damaged.dcm"
    path.write_bytes(bytes(content))
    delivery = read(path)
    assert delivery.arrivals or delivery.rejected


def test_the_same_uid_with_other_pixels_is_refused_in_one_import(tmp_path: Path) -> None:
    saved(film(1), tmp_path / "a.dcm")
    saved(film(1), tmp_path / "b.dcm")
    other = film(1)
    other.PixelData = (gradient((60, 80)) + 1).astype("<u2").tobytes()
    saved(other, tmp_path / "c.dcm")
    delivery = read(tmp_path)
    assert len(delivery.arrivals[0].images) == 1
    (rejected,) = delivery.rejected
    assert rejected.file.endswith("c.dcm")
    assert "other pixels" in rejected.reason


def test_one_number_with_two_birth_dates_is_refused(tmp_path: Path) -> None:
    saved(film(1), tmp_path / "a.dcm")
    saved(film(2, PatientBirthDate="19770101"), tmp_path / "b.dcm")
    assert "another birth date" in reasons(tmp_path)[0]


def test_a_known_number_with_another_birth_date_is_refused(tmp_path: Path) -> None:
    identities = OpenIdentities()
    from datetime import date

    identities.save(
        Identity(person="p", name="", numbers=("INV-7",), birth_date=date(1950, 1, 1), sex=None)
    )
    delivery = read(saved(film(), tmp_path / "a.dcm"), identities=identities)
    assert "another birth date" in delivery.rejected[0].reason


def test_files_of_several_people_arrive_apart(tmp_path: Path) -> None:
    saved(film(1), tmp_path / "a.dcm")
    saved(film(2, PatientID="INV-8"), tmp_path / "b.dcm")
    assert len(read(tmp_path).arrivals) == 2


def test_a_case_of_somebody_else_refuses_the_files(tmp_path: Path) -> None:
    identities = OpenIdentities()
    identities.save(Identity(person="p", name="", numbers=("INV-7",), birth_date=None, sex=None))
    path = saved(film(), tmp_path / "a.dcm")
    delivery = dock(identities).read([path], progress=silent, person="q")
    assert "another person" in delivery.rejected[0].reason


def test_a_captured_screen_is_asked_about_before_it_is_taken(tmp_path: Path) -> None:
    capture = film(SOPClassUID=SecondaryCaptureImageStorage, Modality="OT")
    path = saved(capture, tmp_path / "a.dcm")
    delivery = read(path)
    assert delivery.arrivals == ()
    assert delivery.questions[0].asked is Asked.PIXELS
    assert "--pixels-checked" in delivery.rejected[0].reason
    assert read(path, pixels_checked=True).arrivals[0].images[0].image.kind is ImageKind.PICTURE


def test_a_film_with_declared_text_is_asked_about(tmp_path: Path) -> None:
    path = saved(film(BurnedInAnnotation="YES"), tmp_path / "a.dcm")
    assert "--pixels-checked" in read(path).rejected[0].reason


def test_text_in_the_margin_of_a_film_is_painted_over(tmp_path: Path) -> None:
    from tests.unit.engines.imaging.test_burned_in_text import film_with

    pixels = film_with("INVENTED IDA 1990")
    dataset = film(shape=pixels.shape, BurnedInAnnotation=None)
    dataset.PixelData = pixels.astype("<u2").tobytes()
    delivery = read(saved(dataset, tmp_path / "a.dcm"))
    (result,) = stored(delivery)
    assert int(result.pixel_array[:60].max()) < 4000
    assert np.array_equal(result.pixel_array[100:], pixels[100:])
    assert "painted over" in delivery.arrivals[0].images[0].image.warnings[0]


def test_text_on_the_bone_is_asked_about_not_painted_over(tmp_path: Path) -> None:
    from tests.unit.engines.imaging.test_burned_in_text import film_with

    pixels = film_with("INVENTED IDA 1990", at=(250, 280))
    dataset = film(shape=pixels.shape)
    dataset.PixelData = pixels.astype("<u2").tobytes()
    path = saved(dataset, tmp_path / "a.dcm")
    assert "like text" in read(path).rejected[0].reason
    (result,) = stored(read(path, pixels_checked=True))
    assert np.array_equal(result.pixel_array, pixels)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF"])
def test_an_ordinary_picture_waits_for_a_look_and_a_scale(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"film.{kind.lower()}"
    Pictures.fromarray(gradient((60, 80)).astype(np.uint8)).save(path, kind)
    assert read(path).questions[0].asked is Asked.PIXELS
    arrival = read(path, pixels_checked=True).arrivals[0]
    assert arrival.identity is None
    assert arrival.images[0].image.calibration.source is SpacingSource.NONE
    assert arrival.questions[0].asked is Asked.VIEW
    again = read(path, pixels_checked=True).arrivals[0]
    assert again.images[0].image.source_uids == arrival.images[0].image.source_uids


def test_monochrome1_is_shown_with_bone_bright(tmp_path: Path) -> None:
    plain = gradient((60, 80))
    first = film(1)
    second = film(
        2, PhotometricInterpretation="MONOCHROME1", PresentationLUTShape="INVERSE",
        WindowCenter=1000, WindowWidth=500,
    )  # fmt: skip
    second.PixelData = (4095 - plain).astype("<u2").tobytes()
    shown = []
    for number, dataset in enumerate((first, second)):
        content = (
            read(saved(dataset, tmp_path / f"{number}.dcm")).arrivals[0].images[0].contents[0]
        )
        shown.append(dock().picture(content))
    assert np.array_equal(shown[0].pixels, shown[1].pixels)
    assert shown[1].window_center == 3095


def test_a_zip_with_a_folder_of_slices_is_one_series(tmp_path: Path) -> None:
    archive = tmp_path / "study.zip"
    with zipfile.ZipFile(archive, "w") as out:
        for number in range(1, 6):
            out.writestr(f"disc/IM{number}", as_bytes(ct_slice(number, float(number))))
    (image,) = read(archive).arrivals[0].images
    assert len(image.contents) == 5


def test_what_is_no_picture_cannot_be_shown() -> None:
    with pytest.raises(ImportRefusedError):
        dock().picture(io.BytesIO(b"nothing").getvalue())


def test_slices_that_nobody_looked_at_do_not_claim_clean_pixels(tmp_path: Path) -> None:
    (plain,) = stored(read(saved(ct_slice(1, 0.0), tmp_path / "a.dcm")))
    derived = ct_slice(2, 0.0, ImageType=["DERIVED", "SECONDARY", "MPR"])
    (made,) = stored(read(saved(derived, tmp_path / "b.dcm")))
    claims = [
        "113101" in {item.CodeValue for item in one.DeidentificationMethodCodeSequence}
        for one in (plain, made)
    ]
    assert claims == [False, True]
    assert "BurnedInAnnotation" not in plain
