"""Values as gray levels: low dark, one level a unit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.engines.imaging.gray_levels import Window, as_shown, luma, window_of


def test_a_film_of_twelve_bits_is_shown_as_it_is() -> None:
    values = np.arange(4096, dtype=np.uint16).reshape(64, 64)
    gray = as_shown(
        values, lowest=0, highest=4095, inverted=False, window=Window(center=2000, width=900)
    )
    assert np.array_equal(gray.levels, values)
    assert gray.window == Window(center=2000, width=900)


def test_an_inverted_film_turns_dark_and_bright_with_its_window() -> None:
    values = np.array([[0, 4095]], dtype=np.uint16)
    gray = as_shown(
        values, lowest=0, highest=4095, inverted=True, window=Window(center=1000, width=50)
    )
    assert gray.levels.tolist() == [[4095, 0]]
    assert gray.window == Window(center=3095, width=50)


@given(st.floats(-70000, 0), st.floats(1, 70000), st.booleans())
def test_levels_keep_the_order_of_values(lowest: float, highest: float, inverted: bool) -> None:
    values = np.linspace(lowest, highest, 50, dtype=np.float32).reshape(5, 10)
    gray = as_shown(
        values, lowest=lowest, highest=highest, inverted=inverted, window=Window(center=0, width=1)
    )
    steps = np.diff(gray.levels.ravel().astype(int))
    assert (steps <= 0).all() if inverted else (steps >= 0).all()


def test_hounsfield_values_are_shifted_not_scaled() -> None:
    values = np.array([[-1024, 0, 3071]], dtype=np.int16)
    gray = as_shown(
        values, lowest=-1024, highest=3071, inverted=False, window=Window(center=300, width=1500)
    )
    assert gray.levels.tolist() == [[0, 1024, 4095]]
    assert gray.window == Window(center=1324, width=1500)


def test_luma_weighs_colors_as_bt601_does() -> None:
    # ITU-R BT.601: 0.299, 0.587, 0.114 of 255.
    colors = np.array([[[255, 0, 0], [0, 255, 0], [0, 0, 255], [255, 255, 255]]], np.uint8)
    assert luma(colors).tolist() == [[76, 150, 29, 255]]


def test_a_window_leaves_padding_out() -> None:
    values = np.full((100, 100), 500, np.int16)
    values[:, 50:] = 700
    values[:40] = -2000
    window = window_of(values, values == -2000)
    assert window.center - window.width / 2 >= 500
    assert window.width == pytest.approx(200)
