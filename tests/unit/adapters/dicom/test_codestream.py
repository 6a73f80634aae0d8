"""Compressed pictures lose their notes and nothing else."""

import io
from pathlib import Path

import numpy as np
import pydicom.data
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pydicom import dcmread
from pydicom.encaps import get_frame
from pydicom.uid import JPEG2000Lossless, JPEGBaseline8Bit, RLELossless

from hipwright.adapters.dicom.codestream import cleaned_frame
from hipwright.domain.errors import ImportRefusedError

NOTE = b"Invented Ida, born 1990"


def jpeg(**how: object) -> bytes:
    rng = np.random.default_rng(1)
    buffer = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (40, 50), np.uint8)).save(buffer, "JPEG", **how)
    return buffer.getvalue()


def decoded(content: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(content)))


def segment(marker: int, payload: bytes) -> bytes:
    return bytes([0xFF, marker]) + (len(payload) + 2).to_bytes(2, "big") + payload


@pytest.mark.parametrize("marker", [0xFE, 0xE1, 0xE2, 0xED, 0xEF])
@pytest.mark.parametrize("progressive", [False, True])
def test_notes_in_a_jpeg_are_gone_and_the_picture_is_the_same(
    marker: int, progressive: bool
) -> None:
    plain = jpeg(progressive=progressive)
    noted = plain[:2] + segment(marker, NOTE) + plain[2:] + NOTE
    clean = cleaned_frame(noted, JPEGBaseline8Bit)
    assert NOTE not in clean
    assert np.array_equal(decoded(clean), decoded(plain))


def test_a_thumbnail_in_a_kept_segment_is_gone_too() -> None:
    plain = jpeg()
    start = plain.index(b"\xff\xe0")
    length = int.from_bytes(plain[start + 2 : start + 4], "big")
    fat = segment(0xE0, plain[start + 4 : start + 2 + length] + NOTE)
    clean = cleaned_frame(plain[:start] + fat + plain[start + 2 + length :], JPEGBaseline8Bit)
    assert NOTE not in clean
    assert np.array_equal(decoded(clean), decoded(plain))


def jpeg_2000() -> tuple[bytes, object]:
    folder = Path(pydicom.data.__file__).parent / "test_files"
    dataset = dcmread(folder / "MR_small_jp2klossless.dcm")
    return get_frame(dataset.PixelData, 0, number_of_frames=1), dataset


def test_comments_in_jpeg_2000_are_gone_and_the_picture_is_the_same() -> None:
    frame, _ = jpeg_2000()
    place = frame.index(b"\xff\x52")  # before the coding style
    noted = frame[:place] + segment(0x64, b"\x00\x01" + NOTE) + frame[place:]
    clean = cleaned_frame(noted, JPEG2000Lossless)
    assert NOTE not in clean
    assert np.array_equal(decoded(clean), decoded(frame))


def test_comments_in_a_tile_header_are_gone_and_its_length_is_right() -> None:
    frame, _ = jpeg_2000()
    start = frame.index(b"\xff\x90")
    comment = segment(0x64, b"\x00\x01" + NOTE + b".")
    length = int.from_bytes(frame[start + 6 : start + 10], "big")
    longer = (length + len(comment)).to_bytes(4, "big") if length else b"\0" * 4
    noted = (
        frame[: start + 6]
        + longer
        + frame[start + 10 : start + 12]
        + comment
        + frame[start + 12 :]
    )
    clean = cleaned_frame(noted, JPEG2000Lossless)
    assert NOTE not in clean
    assert np.array_equal(decoded(clean), decoded(frame))


def test_a_wrapper_around_jpeg_2000_stays_behind() -> None:
    buffer = io.BytesIO()
    Image.fromarray(np.arange(64, dtype=np.uint8).reshape(8, 8)).save(buffer, "JPEG2000")
    wrapped = buffer.getvalue() + b"\0\0\0\x20uuid" + NOTE
    clean = cleaned_frame(wrapped, JPEG2000Lossless)
    assert clean.startswith(b"\xff\x4f\xff\x51")
    assert NOTE not in clean
    assert np.array_equal(decoded(clean), np.arange(64).reshape(8, 8))


@given(st.integers(0, 2000), st.integers(0, 255))
def test_damage_is_refused_or_survived_never_a_crash(place: int, value: int) -> None:
    damaged = bytearray(jpeg())
    damaged[place % len(damaged)] = value
    try:
        cleaned_frame(bytes(damaged[: len(damaged) - place % 7]), JPEGBaseline8Bit)
    except ImportRefusedError:
        return


def test_other_codings_pass_untouched() -> None:
    assert cleaned_frame(b"\x01\x02", RLELossless) == b"\x01\x02"
