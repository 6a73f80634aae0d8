"""The dock against files and tables that none of us made.

Files: the test sets of pydicom and pydicom-data. Reference decoding: pydicom's
own, applied to the untouched file. Table E.1-1 of PS3.15: the excerpt beside
this file says how it was got. Validity: dciodvfy of Debian's dicom3tools.
"""

import csv
import io
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pydicom.data
import pytest
from pydicom import config, dcmread
from pydicom._dicom_dict import DicomDictionary
from pydicom.datadict import dictionary_VR
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.pixels.processing import apply_modality_lut
from pydicom.pixels.utils import pixel_array
from pydicom.sequence import Sequence
from pydicom.tag import Tag

from hipwright.adapters.dicom.write_film import FilmObject
from hipwright.workflows.ports import Delivery
from tests.dicom_makers import ct_slice, dock, film, read, saved, stored
from tests.unit.adapters.dicom.test_write_simulated import a_film, written

AUTHORITIES = Path(__file__).parent / "authorities"

pytestmark = pytest.mark.filterwarnings("ignore::UserWarning")  # the reference decoder's own


@cache
def test_files() -> tuple[Path, ...]:
    found = [Path(name) for name in pydicom.data.get_testdata_files()]
    return tuple(sorted(path for path in found if path.is_file()))


@cache
def delivery_of(path: Path) -> Delivery:
    return read(path, pixels_checked=True)


def taken() -> list[Path]:
    return [
        path for path in test_files() if path.name != "DICOMDIR" and delivery_of(path).arrivals
    ]


def test_every_file_of_the_test_sets_is_taken_in_or_turned_away_with_a_reason() -> None:
    counts = {"taken": 0, "rejected": 0}
    for path in test_files():
        delivery = delivery_of(path)
        images = sum(len(arrival.images) for arrival in delivery.arrivals)
        assert images or delivery.rejected, path.name
        assert all(len(one.reason) > 10 and one.file for one in delivery.rejected)
        counts["taken" if images else "rejected"] += 1
    assert counts["taken"] > 90, counts
    assert counts["rejected"] > 80, counts


def test_everything_taken_in_can_be_shown() -> None:
    loading = dock()
    for path in taken():
        picture = loading.picture(delivery_of(path).arrivals[0].images[0].contents[0])
        assert picture.pixels.dtype == np.uint16
        assert picture.pixels.size > 0
        assert picture.window_width >= 1, path.name


def test_stored_pixels_equal_the_reference_decoding_of_the_untouched_file() -> None:
    syntaxes: set[str] = set()
    for path in taken():
        original = dcmread(path, force=True)
        content = delivery_of(path).arrivals[0].images[0].contents[0]
        kept = dcmread(io.BytesIO(content))
        if "TransferSyntaxUID" in original.file_meta:
            syntaxes.add(original.file_meta.TransferSyntaxUID.name)
            try:
                expected = pixel_array(original)
            except (AttributeError, RuntimeError):
                continue  # the reference cannot decode it either
            assert np.array_equal(pixel_array(kept), expected), path.name
    wanted = ("Implicit", "Big Endian", "Deflated", "RLE", "JPEG-LS Lossless", ("JPEG 2000 Image "
              "Compression (Lossless"), "JPEG 2000 Image Compression", "JPEG Baseline",
              "JPEG Lossless")  # fmt: skip
    for name in wanted:
        assert any(name in syntax for syntax in syntaxes), (name, sorted(syntaxes))


@pytest.mark.parametrize(
    ("plain", "coded"),
    [
        ("MR_small.dcm", "MR_small_RLE.dcm"),
        ("MR_small.dcm", "MR_small_jp2klossless.dcm"),
        ("MR_small.dcm", "MR_small_jpeg_ls_lossless.dcm"),
        ("MR_small.dcm", "MR_small_bigendian.dcm"),
        ("MR_small.dcm", "MR_small_implicit.dcm"),
        ("693_UNCR.dcm", "693_J2KR.dcm"),
        ("RG1_UNCR.dcm", "RG1_J2KR.dcm"),
    ],
)
def test_one_picture_in_two_lossless_codings_is_the_same_picture(plain: str, coded: str) -> None:
    named = {path.name: path for path in test_files()}
    loading = dock()
    first, second = (
        loading.identify(delivery_of(named[name]).arrivals[0].images[0].contents[0])
        for name in (plain, coded)
    )
    assert first.pixels_sha256 == second.pixels_sha256


def test_modality_tables_are_applied_as_the_reference_does() -> None:
    path = next(path for path in test_files() if path.name == "mlut_18.dcm")
    original = dcmread(path)
    expected = apply_modality_lut(pixel_array(original), original)
    shown = dock().picture(delivery_of(path).arrivals[0].images[0].contents[0]).pixels
    assert np.array_equal(np.argsort(np.unique(shown)), np.arange(np.unique(shown).size))
    assert np.array_equal(shown, expected.astype(np.uint16))


def test_hounsfield_values_are_those_of_the_reference() -> None:
    path = next(path for path in test_files() if path.name == "CT_small.dcm")
    original = dcmread(path)
    expected = apply_modality_lut(pixel_array(original), original)
    shown = dock().picture(delivery_of(path).arrivals[0].images[0].contents[0]).pixels
    assert np.ptp(shown.astype(int) - expected) == 0  # alike but for one offset


def test_every_name_of_the_test_sets_is_gone_from_what_is_stored() -> None:
    for path in taken():
        original = dcmread(path, force=True)
        content = delivery_of(path).arrivals[0].images[0].contents[0]
        head = content[: content.rindex(b"\xe0\x7f\x10\x00")]
        for keyword in ("PatientName", "PatientID", "SOPInstanceUID", "StudyInstanceUID"):
            value = str(original.get(keyword, "")).strip()
            if len(value) > 5:
                assert value.encode() not in head, (path.name, keyword)


def table_rows() -> list[dict[str, str]]:
    text = (AUTHORITIES / "ps3.15-table-e1-1-excerpt.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return [
        row for row in rows if int(row["tag"], 16) in DicomDictionary or row["tag"] == "FFFCFFFC"
    ]


def planted_value(vr: str) -> object:
    item = Dataset()
    item.PatientName, item.CodeValue, item.CodeMeaning = "Planted", "PLANTED", "PLANTED"
    values: dict[str, object] = {
        "SQ": Sequence([item]), "DA": "19630517", "TM": "041537", "DT": "19630517041537",
        "UI": "1.2.3.63051.7041537", "US": 3, "OB": b"PLANTED\0", "OB or OW": b"PLANTED\0",
        "AS": "061Y", "PN": "Planted",
    }  # fmt: skip
    return values.get(vr, "PLANTED")


@pytest.mark.parametrize("row", table_rows(), ids=lambda row: row["tag"])
def test_table_e1_1_is_carried_out(row: dict[str, str], tmp_path: Path) -> None:
    tag = Tag(int(row["tag"], 16))
    vr = dictionary_VR(tag)
    dataset = film()
    value = planted_value(vr)
    dataset.add(DataElement(tag, vr, value, validation_mode=config.IGNORE))
    (result,) = stored(read(saved(dataset, tmp_path / "planted.dcm")))
    assert b"planted" not in io_bytes(result).lower()
    if row["basic_profile"] == "X" and not row["options"]:
        assert tag not in result
    elif tag in result and vr != "SQ":
        assert str(result[tag].value) != str(value)


def io_bytes(dataset: Dataset) -> bytes:
    buffer = io.BytesIO()
    dataset.save_as(buffer, enforce_file_format=True)
    return buffer.getvalue()


@pytest.mark.parametrize("kind", list(FilmObject), ids=lambda kind: kind.value)
@pytest.mark.parametrize("name", ["pelvis", "dunn", "profile"])
def test_a_valid_film_is_still_valid_when_stored(
    name: str, kind: FilmObject, tmp_path: Path, program: Callable[[str], Path]
) -> None:
    source = tmp_path / "film.dcm"
    source.write_bytes(written(a_film(name), kind))
    assert errors(program("dciodvfy"), source) == set()
    assert errors(program("dciodvfy"), stored_copy(source, tmp_path)) == set()


@pytest.mark.parametrize("name", ["film", "slice", "CT_small.dcm", "MR_small.dcm"])
def test_stored_files_are_no_less_valid_than_what_came(
    name: str, tmp_path: Path, program: Callable[[str], Path]
) -> None:
    if name == "film":
        source = saved(film(), tmp_path / "film.dcm")
    elif name == "slice":
        source = saved(ct_slice(1, 0.0), tmp_path / "slice.dcm")
    else:
        source = next(path for path in test_files() if path.name == name)
    kept = stored_copy(source, tmp_path)
    assert errors(program("dciodvfy"), kept) - errors(program("dciodvfy"), source) == set()


def stored_copy(source: Path, folder: Path) -> Path:
    kept = folder / "kept.dcm"
    kept.write_bytes(read(source).arrivals[0].images[0].contents[0])
    return kept


def errors(dciodvfy: Path, path: Path) -> set[str]:
    done = subprocess.run(
        [dciodvfy, path], capture_output=True, text=True, check=False, errors="replace"
    )
    return {line for line in (done.stderr + done.stdout).splitlines() if "Error" in line}
