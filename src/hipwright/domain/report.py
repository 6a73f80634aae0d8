"""A document as a tree of plain facts; adapters print it as HTML or PDF."""

from __future__ import annotations

from dataclasses import dataclass

from hipwright.domain.clock_face import ClockFace
from hipwright.domain.film_marks import Mark


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Something the reader must not miss, such as the caution."""

    title: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Label and value pairs."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeBar:
    """A value and its interval on a track of classes, all as shares of the track's length.

    ``bands`` are (name, from, to); ``label`` says in words what the bar shows.
    """

    bands: tuple[tuple[str, float, float], ...]
    value: float
    low: float
    high: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell of a table: text, perhaps with a second quiet line, or a range bar."""

    text: str = ""
    quiet: str = ""
    bar: RangeBar | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of a table; ``numeric`` ones are aligned at the right."""

    heading: str
    numeric: bool = False
    share: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Columns and rows."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmFigure:
    """A film with what is drawn over it.

    ``crop_px`` is left, top, width and height of the shown part, ``text_width_share`` how
    much of the page's text width it fills.
    """

    image: str
    columns: int
    rows: int
    crop_px: tuple[float, float, float, float]
    text_width_share: float
    marks: tuple[Mark, ...]
    caption: str
    alternative: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureRow:
    """Films side by side, all of one height."""

    figures: tuple[FilmFigure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockRow:
    """Clock faces side by side."""

    faces: tuple[ClockFace, ...]
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """Items, one line each."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """Room to sign."""

    label: str


Block = Paragraph | Notice | Facts | Table | FigureRow | ClockRow | Listing | Signature


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading and what stands under it."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A whole document.

    ``footer`` stands at the foot of every page beside the page number.
    """

    title: str
    subtitle: str
    facts: Facts
    sections: tuple[Section, ...]
    footer: str
    language: str = "en"
