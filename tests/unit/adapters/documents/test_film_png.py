"""The shown part of a film as an 8-bit PNG."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from hipwright.adapters.documents.film_png import MOST_PX, PngPrinter, film_png
from hipwright.workflows.ports import Picture

RAMP = np.arange(12, dtype=np.uint16).reshape(3, 4) * 100
WHOLE = (-0.5, -0.5, 4.0, 3.0)


def opened(content: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(content))
    assert picture.format == "PNG"
    assert picture.mode == "L"
    assert picture.info == {}
    return picture


def test_the_window_maps_its_ends_to_black_and_white() -> None:
    shown = np.asarray(opened(film_png(RAMP, (550.0, 1100.0), WHOLE)))
    wanted = np.round(255.0 * RAMP / 1100)
    assert np.array_equal(shown, wanted)
    narrow = np.asarray(opened(film_png(RAMP, (550.0, 200.0), WHOLE)))
    assert narrow.min() == 0
    assert narrow.max() == 255


def test_a_window_without_width_is_a_step() -> None:
    shown = np.asarray(opened(film_png(RAMP, (550.0, 0.0), WHOLE)))
    assert set(np.unique(shown)) == {0, 255}


@pytest.mark.parametrize(
    ("crop", "rows", "columns"),
    [
        (WHOLE, slice(0, 3), slice(0, 4)),
        ((0.5, -0.5, 2.0, 2.0), slice(0, 2), slice(1, 3)),
        ((-5.0, -5.0, 7.0, 7.0), slice(0, 2), slice(0, 2)),
    ],
)
def test_the_crop_takes_whole_pixels_about_their_centers(
    crop: tuple[float, float, float, float], rows: slice, columns: slice
) -> None:
    shown = np.asarray(opened(film_png(RAMP, (550.0, 1100.0), crop)))
    assert np.array_equal(shown, np.round(255.0 * RAMP[rows, columns] / 1100))


def test_a_large_film_is_shrunk_and_keeps_its_shape() -> None:
    large = np.zeros((3000, 2000), np.uint16)
    picture = opened(film_png(large, (1.0, 1.0), (-0.5, -0.5, 2000.0, 3000.0)))
    assert max(picture.size) == MOST_PX
    assert picture.size[0] / picture.size[1] == pytest.approx(2000 / 3000, rel=1e-3)


def test_the_printer_uses_the_films_own_window() -> None:
    picture = Picture(pixels=RAMP, window_center=550.0, window_width=1100.0)
    assert PngPrinter().film_png(picture, WHOLE) == film_png(RAMP, (550.0, 1100.0), WHOLE)
