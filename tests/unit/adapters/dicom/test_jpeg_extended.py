"""Twelve-bit lossy JPEG against independent decoders."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pydicom.data
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from pydicom import dcmread
from pydicom.encaps import get_frame

from hipwright.adapters.dicom.jpeg_extended import decoded_jpeg
from tests.dicom_makers import dock, read

FOLDER = Path(pydicom.data.__file__).parent / "test_files"


def coded(shape: tuple[int, int] = (61, 83), **how: int) -> bytes:
    rng = np.random.default_rng(2)
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    levels = (rows * 2 + columns + rng.normal(0, 12, shape)).clip(0, 255).astype(np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(levels).save(buffer, "JPEG", **how)
    return buffer.getvalue()


@pytest.mark.parametrize(
    "how", [{"quality": 95}, {"quality": 40}, {"quality": 80, "restart_marker_blocks": 5}]
)
@pytest.mark.parametrize("shape", [(64, 64), (61, 83), (8, 200)])
def test_eight_bits_decode_as_libjpeg_does(shape: tuple[int, int], how: dict[str, int]) -> None:
    content = coded(shape, **how)
    expected = np.asarray(Image.open(io.BytesIO(content))).astype(int)
    found = decoded_jpeg(content).astype(int)
    assert np.abs(found - expected).max() <= 1  # T.83 allows an integer transform one level


def test_twelve_bits_decode_as_libjpeg_turbo_does() -> None:
    # Reference: imagecodecs 2026.3.6 with libjpeg-turbo 3.1.3, run once on pydicom's file.
    dataset = dcmread(FOLDER / "JPGExtended.dcm")
    levels = decoded_jpeg(get_frame(dataset.PixelData, 0, number_of_frames=1))
    assert levels.shape == (1024, 256)
    assert (levels.min(), levels.max()) == (0, 264)
    found = np.array([levels[420, 140], levels[230, 120]], int)
    assert np.abs(found - (244, 95)).max() <= 1  # its integer transform rounds otherwise
    assert abs(int(levels.sum(dtype=np.int64)) - 3_767_007) < 0.001 * 3_767_007


def test_the_dock_takes_twelve_bit_lossy_files_in() -> None:
    delivery = read(FOLDER / "JPGExtended.dcm", pixels_checked=True)
    picture = dock().picture(delivery.arrivals[0].images[0].contents[0])
    assert abs(int(picture.pixels[420, 140]) - 244) <= 1


def test_the_compiled_loop_equals_the_plain_one() -> None:
    # In a process where numba compiles nothing, the same functions run as plain Python.
    source = (
        "import io, numpy as np\n"
        "from tests.unit.adapters.dicom.test_jpeg_extended import coded, decoded_jpeg\n"
        "print(decoded_jpeg(coded((24, 40), quality=80, restart_marker_blocks=5)).tolist())"
    )
    done = subprocess.run(
        [sys.executable, "-c", source],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[4],
    )
    compiled = decoded_jpeg(coded((24, 40), quality=80, restart_marker_blocks=5))
    assert json.loads(done.stdout) == compiled.tolist()


@settings(max_examples=80)
@given(st.integers(2, 5000), st.integers(0, 255), st.integers(0, 40))
def test_damage_is_refused_or_survived_never_a_crash(place: int, value: int, cut: int) -> None:
    damaged = bytearray(coded())
    damaged[place % len(damaged)] = value
    try:
        decoded_jpeg(bytes(damaged[: len(damaged) - cut]))
    except (ValueError, KeyError, IndexError, TypeError, OverflowError):
        return  # the dock turns any of them into a refusal


def test_a_progressive_jpeg_is_refused() -> None:
    buffer = io.BytesIO()
    Image.new("L", (16, 16)).save(buffer, "JPEG", progressive=True)
    with pytest.raises(ValueError, match="sequential"):
        decoded_jpeg(buffer.getvalue())
