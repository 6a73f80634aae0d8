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


def _glyphs(marks: NDArray[np.bool_], *, crowded: bool) -> list[tuple[slice, slice]]:
    """Boxes of connected marks that have the size and looks of a glyph."""
    from scipy import ndimage  # slow to import, and most imports need no film looked over

    labels, count = ndimage.label(marks, structure=np.ones((3, 3), dtype=int))
    if count == 0 or (count > MOST_MARKS and not crowded):
        sizes = np.bincount(labels.ravel(), minlength=count + 1)
        if np.count_nonzero(sizes[1:] >= SHORTEST_GLYPH) > MOST_MARKS:
            return []
    boxes = ndimage.find_objects(labels)
    return [
        (box[0], box[1])
        for index, box in enumerate(boxes, start=1)
        if _like_a_glyph(labels[box] == index)
    ]


def _like_a_glyph(mark: NDArray[np.bool_]) -> bool:
    height, width = mark.shape
    if not SHORTEST_GLYPH <= height <= TALLEST_GLYPH or width > 1.6 * height:
        return False
    filled = float(mark.mean())
    return filled > SPARSEST_SHARE and (filled < SOLID_SHARE or width <= 0.5 * height)


def _rows_of(boxes: list[tuple[slice, slice]]) -> Iterator[TextRow]:
    """Glyphs that stand on one line, are equally tall, and follow each other closely."""
    left_over = sorted(boxes, key=lambda box: box[1].start)
    while left_over:
        row = [left_over.pop(0)]
        rest: list[tuple[slice, slice]] = []
        for box in left_over:
            if _continues(row[-1], box):
                row.append(box)
            else:
                rest.append(box)
        left_over = rest
        if len(row) >= FEWEST_GLYPHS:
            yield TextRow(
                top=min(box[0].start for box in row),
                bottom=max(box[0].stop for box in row),
                left=row[0][1].start,
                right=max(box[1].stop for box in row),
                glyphs=len(row),
            )


def _continues(last: tuple[slice, slice], box: tuple[slice, slice]) -> bool:
    tall, other = last[0].stop - last[0].start, box[0].stop - box[0].start
    alike = ALIKE[0] <= other / tall <= ALIKE[1]
    on_line = abs(box[0].stop - last[0].stop) <= 0.35 * max(tall, other)
    gap = box[1].start - last[1].stop
    return alike and on_line and -0.3 * tall <= gap <= 2.0 * max(tall, other)
