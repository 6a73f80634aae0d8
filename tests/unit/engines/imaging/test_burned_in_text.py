"""Text in the pixels is found and painted over; a side marker stays."""

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from hipwright.engines.imaging.burned_in_text import painted_over, text_rows

SHAPE = (600, 800)


def film_with(
    text: str, at: tuple[int, int] = (20, 15), size: int = 24, value: int = 4095
) -> np.ndarray:
    rng = np.random.default_rng(3)
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    film = 800 + 2 * rows + columns + rng.normal(0, 25, SHAPE)
    film = np.clip(film, 10, 4000).astype(np.uint16)
    drawn = Image.new("L", (SHAPE[1], SHAPE[0]))
    ImageDraw.Draw(drawn).text(at, text, fill=255, font=ImageFont.load_default(size))
    film[np.asarray(drawn) > 127] = value
    return film


@pytest.mark.parametrize("size", [14, 24, 40])
@pytest.mark.parametrize("value", [4095, 0])
def test_a_name_in_the_margin_is_found_and_gone_after_painting(size: int, value: int) -> None:
    film = film_with("INVENTED IDA 15.06.1990", size=size, value=value)
    rows = text_rows(film)
    assert rows
    clean = painted_over(film, rows)
    drawn = film == value
    assert (clean[drawn] == value).mean() < 0.02
    assert np.array_equal(clean[100:], film[100:])


def test_a_side_marker_is_no_row_of_text() -> None:
    assert text_rows(film_with("R", size=60)) == ()
    assert text_rows(film_with("L ST", size=60)) == ()


def test_a_film_with_noise_and_collimation_has_no_text() -> None:
    film = film_with("")
    film[:40] = film[-40:] = 0
    film[:, :60] = 0
    rng = np.random.default_rng(5)
    film[rng.integers(0, 600, 3000), rng.integers(0, 800, 3000)] = 4095
    assert text_rows(film) == ()


def test_a_row_of_screws_is_not_text() -> None:
    film = film_with("")
    for index in range(5):
        film[300:360, 200 + 40 * index : 230 + 40 * index] = 4095
    assert text_rows(film) == ()
