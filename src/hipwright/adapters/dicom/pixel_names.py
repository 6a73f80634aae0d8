"""Names that stand in the pixels themselves: found, painted over, or asked about.

A row of text in the margin of a film is painted over. Text elsewhere is left
alone, because it may lie on bone: then a person has to look. Captured screens,
ordinary pictures and files that declare burned-in text are never taken
without somebody having looked.
"""

from __future__ import annotations

from hipwright.adapters.dicom.file_reading import PixelForm, StoredPixels, plain_pixels
from hipwright.domain.errors import ImportRefusedError
from hipwright.engines.imaging.burned_in_text import TextRow, painted_over, text_rows
from hipwright.engines.imaging.gray_levels import Pixels

MARGIN_SHARE = 0.15
"""How far from the edge, as a share of the picture, text may be painted over (judgment)."""


class PixelsInDoubtError(ImportRefusedError):
    """A name may stand in the picture, and only a person can tell."""

    code = "pixels_in_doubt"

    def __init__(self, reason: str) -> None:
        super().__init__(
            reason.rstrip("."),
            next_step=(
                "Look at it. If nobody's name stands in it, import it again and say so "
                "(--pixels-checked); otherwise cut the name off first."
            ),
            field="pixels",
        )


def looked_over(stored: Pixels, form: PixelForm, pixels: StoredPixels) -> StoredPixels:
    """The pixel data to keep once text in the margin is painted over.

    Raises
    ------
    PixelsInDoubtError
        There is text-like drawing away from the margin, or in a color picture.
    """
    gray = stored if stored.ndim == 2 else stored.max(axis=2)
    rows = text_rows(gray)
    if not rows:
        return pixels
    if stored.ndim != 2 or not all(_in_margin(row, gray.shape) for row in rows):
        raise PixelsInDoubtError("Something like text is drawn into the picture.")
    clean = painted_over(stored, rows)
    wide = form.bits_allocated > 8
    value = clean.astype("<u2" if wide else "u1", casting="unsafe").tobytes()
    return plain_pixels(value, form)


def _in_margin(row: TextRow, shape: tuple[int, ...]) -> bool:
    height, width = shape[0], shape[1]
    down, across = height * MARGIN_SHARE, width * MARGIN_SHARE
    return (
        row.bottom <= down
        or row.top >= height - down
        or row.right <= across
        or row.left >= width - across
    )
