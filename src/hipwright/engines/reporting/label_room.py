"""Room for labels: none covers another on a printed film."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from hipwright.domain.film_marks import LabelMark, Mark

LETTER_WIDTH = 0.52
"""Mean width of a letter over its size (typographic rule of thumb)."""

LINE_HEIGHT = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class _Box:
    left: float
    right: float
    bottom: float
    height: float

    def covers(self, other: _Box) -> bool:
        apart = (
            self.right < other.left
            or other.right < self.left
            or self.bottom - self.height >= other.bottom
            or other.bottom - other.height >= self.bottom
        )
        return not apart


def with_room(marks: Iterable[Mark], *, letter_px: float, right_px: float) -> tuple[Mark, ...]:
    """Move labels so that none covers another or leaves the picture at the right.

    Parameters
    ----------
    marks
        In ``film_px``.
    letter_px
        Size of the letters, in pixels of the film.
    right_px
        Right edge of the shown part.

    Returns
    -------
    tuple
        The same marks; labels that stood in the way of an earlier one stand below it.
    """
    taken: list[_Box] = []
    placed: list[Mark] = []
    for mark in sorted(marks, key=_top_first):
        if not isinstance(mark, LabelMark):
            placed.append(mark)
            continue
        width = LETTER_WIDTH * letter_px * len(mark.text)
        x = min(mark.at[0], right_px - width)
        y = mark.at[1]
        box = _box(x, y, width, letter_px)
        while any(box.covers(other) for other in taken):
            y += LINE_HEIGHT * letter_px / 2
            box = _box(x, y, width, letter_px)
        taken.append(box)
        placed.append(replace(mark, at=(x, y)))
    return tuple(placed)


def _top_first(mark: Mark) -> tuple[bool, float]:
    return (True, mark.at[1]) if isinstance(mark, LabelMark) else (False, 0.0)


def _box(x: float, y: float, width: float, letter_px: float) -> _Box:
    return _Box(left=x, right=x + width, bottom=y, height=LINE_HEIGHT * letter_px)
