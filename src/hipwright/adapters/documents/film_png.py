"""The shown part of a film as an 8-bit PNG for documents."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from hipwright.workflows.ports import Picture

MOST_PX = 1400
"""Pixels along the longer edge in a document: about 200 per inch on a full text width."""


def film_png(
    pixels: NDArray[np.uint16],
    window: tuple[float, float],
    crop_px: tuple[float, float, float, float],
) -> bytes:
    """Crop, window and shrink a film.

    Parameters
    ----------
    pixels
        (rows, columns), low values dark.
    window
        Center and width, in the units of the pixels.
    crop_px
        Left, top, width and height, pixel centers at whole numbers.
    """
    left, top, width, height = crop_px
    rows = slice(max(0, round(top + 0.5)), round(top + height + 0.5))
    columns = slice(max(0, round(left + 0.5)), round(left + width + 0.5))
    center, span = window
    shown = (pixels[rows, columns].astype(np.float32) - (center - span / 2)) / max(span, 1)
    picture = Image.fromarray((255 * np.clip(shown, 0, 1)).round().astype(np.uint8))
    picture.thumbnail((MOST_PX, MOST_PX), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    picture.save(out, format="PNG", optimize=False, compress_level=6)
    return out.getvalue()


class PngPrinter:
    """Makes the shown part of a film into a PNG (the port ``FilmPrinter``)."""

    def film_png(self, picture: Picture, crop_px: tuple[float, float, float, float]) -> bytes:
        """Print one film by its own window."""
        return film_png(picture.pixels, (picture.window_center, picture.window_width), crop_px)
