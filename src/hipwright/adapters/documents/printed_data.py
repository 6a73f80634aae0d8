"""A document tree as plain data for the two templates, text never as markup."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from hipwright.domain.clock_face import ClockFace
from hipwright.domain.report import (
    Block,
    Cell,
    ClockRow,
    Document,
    Facts,
    FigureRow,
    FilmFigure,
    Listing,
    Notice,
    Paragraph,
    RangeBar,
    Section,
    Signature,
    Table,
)

Data = dict[str, Any]
FigureData = Callable[[FilmFigure], Data]
ClockData = Callable[[ClockFace], Data]


def document_data(document: Document, figure: FigureData, clock: ClockData) -> Data:
    """The document as nested dictionaries.

    ``figure`` gives what a template needs of a film, ``clock`` of a clock face.
    """
    return {
        "title": document.title,
        "subtitle": document.subtitle,
        "language": document.language,
        "footer": document.footer,
        "facts": [list(row) for row in document.facts.rows],
        "sections": [_section(section, figure, clock) for section in document.sections],
    }


def _section(section: Section, figure: FigureData, clock: ClockData) -> Data:
    return {
        "title": section.title,
        "blocks": [_block(block, figure, clock) for block in section.blocks],
    }


def _block(  # noqa: PLR0911 - one answer a kind
    block: Block, figure: FigureData, clock: ClockData
) -> Data:
    match block:
        case Paragraph():
            return {"kind": "paragraph", "text": block.text}
        case Notice():
            return {"kind": "notice", "title": block.title, "text": block.text}
        case Facts():
            return {"kind": "facts", "rows": [list(row) for row in block.rows]}
        case Listing():
            return {"kind": "listing", "items": list(block.items)}
        case Signature():
            return {"kind": "signature", "label": block.label}
        case FigureRow():
            return {"kind": "figures", "figures": [_figure(f, figure) for f in block.figures]}
        case ClockRow():
            faces = [{"alternative": f.label, **clock(f)} for f in block.faces]
            return {"kind": "clocks", "faces": faces, "caption": block.caption}
        case Table():
            return _table(block)


def _figure(shown: FilmFigure, figure: FigureData) -> Data:
    _, _, width, height = shown.crop_px
    return {
        "caption": shown.caption,
        "alternative": shown.alternative,
        "ratio": width / height,
        **figure(shown),
    }


def _table(table: Table) -> Data:
    return {
        "kind": "table",
        "caption": table.caption,
        "columns": [
            {"heading": c.heading, "numeric": c.numeric, "share": c.share} for c in table.columns
        ],
        "rows": [[_cell(cell) for cell in row] for row in table.rows],
    }


def _cell(cell: Cell) -> Data:
    return {
        "text": cell.text,
        "quiet": cell.quiet,
        "bar": None if cell.bar is None else _bar(cell.bar),
    }


def _bar(bar: RangeBar) -> Data:
    return {
        "bands": [{"name": name, "from": start, "to": end} for name, start, end in bar.bands],
        "value": bar.value,
        "low": bar.low,
        "high": bar.high,
        "label": bar.label,
    }


Pictures = Sequence[bytes]
"""Crops of films as PNG, in the order of the document's figures."""
