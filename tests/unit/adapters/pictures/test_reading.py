"""Ordinary pictures become gray levels without notes."""

import io

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from hipwright.adapters.pictures.reading import PictureReader
from hipwright.domain.errors import ImportRefusedError

READER = PictureReader()
GRAY = np.arange(48 * 64, dtype=np.uint16).reshape(48, 64)


def written(image: Image.Image, kind: str, **how: object) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **how)
    return buffer.getvalue()


def levels(content: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(READER.read(content).stored)))


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_sixteen_bits_come_through_unchanged(kind: str) -> None:
    content = written(Image.fromarray(GRAY * 20), kind)
    assert READER.recognizes(content[:16])
    assert np.array_equal(levels(content), GRAY * 20)
    assert np.array_equal(READER.shown(READER.read(content).stored).pixels, GRAY * 20)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_tiff_whose_zero_is_white_is_turned_round(dtype: type) -> None:
    # TIFF 6.0, PhotometricInterpretation 0 (WhiteIsZero), written by an independent library.
    plain = (GRAY % 256).astype(dtype)
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, np.iinfo(dtype).max - plain, photometric="miniswhite")
    assert np.array_equal(levels(buffer.getvalue()), plain)


def test_big_endian_tiff_is_read_like_little_endian() -> None:
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, GRAY, byteorder=">", photometric="minisblack")
    assert np.array_equal(levels(buffer.getvalue()), GRAY)


def test_notes_beside_the_pixels_are_not_kept() -> None:
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Author", "Invented Ida")
    exif = Image.Exif()
    exif[0x013B] = "Invented Ida"
    image = Image.fromarray((GRAY % 256).astype(np.uint8))
    for content in (
        written(image, "PNG", pnginfo=notes),
        written(image, "JPEG", exif=exif, comment=b"Invented Ida"),
        written(image, "TIFF", exif=exif),
        written(image, "PNG") + b"Invented Ida",
    ):
        assert b"Invented" in content
        assert b"Invented" not in READER.read(content).stored


def test_color_becomes_gray_and_see_through_parts_do_not_matter() -> None:
    color = np.zeros((4, 4, 4), np.uint8)
    color[..., 1], color[..., 3] = 255, 255
    assert (levels(written(Image.fromarray(color), "PNG")) == 150).all()  # BT.601


def test_a_turned_photograph_is_set_upright() -> None:
    # Exif 2.3, Orientation 6: the first row of pixels is the right side of the scene.
    exif = Image.Exif()
    exif[0x0112] = 6
    image = Image.fromarray(np.zeros((30, 50), np.uint8))
    file = READER.read(written(image, "JPEG", exif=exif))
    assert (file.rows, file.columns) == (50, 30)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (written(Image.fromarray(GRAY.astype(np.float32)), "TIFF"), "floating-point"),
        (written(Image.fromarray(GRAY.astype(np.int32) * 100), "TIFF"), "16 bits"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 40, "truncated or damaged"),
    ],
)
def test_other_forms_say_why_they_are_refused(content: bytes, reason: str) -> None:
    with pytest.raises(ImportRefusedError, match=reason):
        READER.read(content)


def test_several_pages_are_refused() -> None:
    pages = [Image.new("L", (5, 5)) for _ in range(3)]
    content = written(pages[0], "TIFF", save_all=True, append_images=pages[1:])
    with pytest.raises(ImportRefusedError, match="3 pages"):
        READER.read(content)


def test_a_picture_of_absurd_size_is_not_decoded() -> None:
    content = bytearray(written(Image.new("L", (5, 5)), "PNG"))
    content[16:24] = (90_000).to_bytes(4, "big") * 2
    with pytest.raises(ImportRefusedError):
        READER.read(bytes(content))


@given(st.integers(8, 900), st.integers(0, 255))
def test_a_damaged_picture_never_crashes(place: int, value: int) -> None:
    content = bytearray(written(Image.fromarray((GRAY % 256).astype(np.uint8)), "JPEG"))
    content[place % len(content)] = value
    try:
        READER.read(bytes(content[: len(content) - place % 5]))
    except ImportRefusedError:
        return
