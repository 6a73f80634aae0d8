"""Text that a device has written into the pixels of a film.

Such text is drawn in one and the same extreme value, in glyphs of one size, in
rows. Radiographs have bright spots too, but not rows of equally tall,
constant-valued marks. A single letter, such as the side marker, is no row and
stays.

This finds what devices commonly write; it does not prove that nothing is
there (common practice, not a published detector).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.imaging.gray_levels import Pixels

SHORTEST_GLYPH, TALLEST_GLYPH = 6, 90
"""Pixels; text of a device is 8 to 64 tall (memory)."""

FEWEST_GLYPHS = 4
"""Shorter rows are side markers and signs such as "R", "AP" or "ST" (judgment)."""

SPARSEST_SHARE, SOLID_SHARE = 0.08, 0.97
"""How much of its box a stroke fills; a full box is a shape, not a letter (judgment)."""

ALIKE = (0.6, 1.67)
"""Heights of neighboring glyphs, one over the other."""

LARGEST_SHARE = 0.2
"""Extreme pixels beyond this share are background or collimation, not text."""

MOST_MARKS = 4000
"""More marks than this are noise at the end of the range."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextRow:
    """A row of glyphs: half-open ranges of rows and columns, in pixels."""

    top: int
    bottom: int
    left: int
    right: int
    glyphs: int


def text_rows(pixels: Pixels) -> tuple[TextRow, ...]:
    """Rows of text-like marks in a picture (rows, columns)."""
    found: list[TextRow] = []
    for extreme in {pixels.max(), pixels.min()}:
        marks = pixels == extreme
        share = float(np.count_nonzero(marks)) / marks.size
        if share > 0:
            found.extend(_rows_of(_glyphs(marks, crowded=share > LARGEST_SHARE)))
    return tuple(sorted(found, key=lambda row: (row.top, row.left)))


def painted_over(pixels: Pixels, rows: tuple[TextRow, ...], *, margin: int = 2) -> Pixels:
    """The picture with every row of text replaced by the middle value around it."""
    result = pixels.copy()
    for row in rows:
        top, left = max(0, row.top - margin), max(0, row.left - margin)
        bottom, right = row.bottom + margin, row.right + margin
        reach = row.bottom - row.top
        around = pixels[max(0, top - reach) : bottom + reach, max(0, left - reach) : right + reach]
        result[top:bottom, left:right] = np.asarray(np.median(around)).astype(pixels.dtype)
    return result


@dataclass(frozen=True, slots=True)
class _Glyph:
    """A connected mark that may be a letter; ``solid`` ones fill their box, as I and 1 do."""

    top: int
    bottom: int
    left: int
    right: int
    solid: bool

    @property
    def height(self) -> int:
        return self.bottom - self.top


def _glyphs(marks: NDArray[np.bool_], *, crowded: bool) -> list[_Glyph]:
    """Connected marks that have the size and looks of a letter."""
    from scipy import ndimage  # slow to import, and most imports need no film looked over

    labels, count = ndimage.label(marks, structure=np.ones((3, 3), dtype=int))
    if count == 0 or (count > MOST_MARKS and not crowded):
        sizes = np.bincount(labels.ravel(), minlength=count + 1)
        if np.count_nonzero(sizes[1:] >= SHORTEST_GLYPH) > MOST_MARKS:
            return []
    found: list[_Glyph] = []
    for index, (down, across) in enumerate(ndimage.find_objects(labels), start=1):
        glyph = _as_glyph(labels[down, across] == index, down.start, across.start)
        if glyph is not None:
            found.append(glyph)
    return found


def _as_glyph(mark: NDArray[np.bool_], top: int, left: int) -> _Glyph | None:
    height, width = mark.shape
    if not SHORTEST_GLYPH <= height <= TALLEST_GLYPH or width > 1.6 * height:
        return None
    filled = float(mark.mean())
    solid = filled >= SOLID_SHARE
    if filled <= SPARSEST_SHARE or (solid and width > 0.5 * height):
        return None
    return _Glyph(top, top + height, left, left + width, solid)


def _rows_of(glyphs: list[_Glyph]) -> Iterator[TextRow]:
    """Glyphs that stand on one line, are equally tall, and follow each other closely."""
    left_over = sorted(glyphs, key=lambda glyph: glyph.left)
    while left_over:
        row = [left_over.pop(0)]
        rest: list[_Glyph] = []
        for glyph in left_over:
            (row if _continues(row[-1], glyph) else rest).append(glyph)
        left_over = rest
        drawn = sum(not glyph.solid for glyph in row)
        if len(row) >= FEWEST_GLYPHS and 2 * drawn >= len(row):  # bars alone are no writing
            yield TextRow(
                top=min(glyph.top for glyph in row),
                bottom=max(glyph.bottom for glyph in row),
                left=row[0].left,
                right=max(glyph.right for glyph in row),
                glyphs=len(row),
            )


def _continues(last: _Glyph, glyph: _Glyph) -> bool:
    taller = max(last.height, glyph.height)
    alike = ALIKE[0] <= glyph.height / last.height <= ALIKE[1]
    on_line = abs(glyph.bottom - last.bottom) <= 0.35 * taller
    gap = glyph.left - last.right
    return alike and on_line and -0.3 * last.height <= gap <= 2.0 * taller
