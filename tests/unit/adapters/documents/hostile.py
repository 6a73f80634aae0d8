"""Texts that would do harm if a document took them for markup, and a document full of them."""

from __future__ import annotations

from hipwright.domain.film_marks import LabelMark
from hipwright.domain.report import (
    Cell,
    Column,
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

HOSTILE = (
    '#panic("x")',
    "#import sys: *",
    "$ x^2 $ and $",
    "*bold* _x_ `code` @ref <label> \\ // /* */",
    "<script>alert(1)</script>",
    "</svg></figure><img src=x onerror=alert(1)>",
    '" onmouseover="alert(1)',
    "{{ 7 * 7 }} {% raw %}",
    "&lt;b&gt; &amp;",
    "O'Brien-Łukasiewicz Ελένη",
)
RIGHT_TO_LEFT = "עברית"
BEYOND_FONTS = "🙂"
LONG = "A" * 300


def document_of(*texts: str, figure: bool = True) -> Document:
    """A document with every text in every place a text can stand."""
    joined = " · ".join(texts)
    marks = tuple(LabelMark(at=(1.0, 5.0 + n), text=text) for n, text in enumerate(texts))
    film = FilmFigure(
        image="film",
        columns=40,
        rows=30,
        crop_px=(0.0, 0.0, 40.0, 30.0),
        text_width_share=0.5,
        marks=marks,
        caption=joined,
        alternative=joined,
    )
    bar = RangeBar(bands=((joined, 0.0, 1.0),), value=0.5, low=0.4, high=0.6, label=joined)
    table = Table(
        caption=joined,
        columns=(Column(heading=joined), Column(heading="bar", numeric=True)),
        rows=tuple((Cell(text=text, quiet=text), Cell(bar=bar)) for text in texts),
    )
    blocks = (
        Paragraph(text=joined),
        Notice(title=joined, text=joined),
        Facts(rows=tuple((text, text) for text in texts)),
        table,
        Listing(items=texts),
        Signature(label=joined),
    )
    if figure:
        blocks = (*blocks, FigureRow(figures=(film,)))
    return Document(
        title=joined,
        subtitle=joined,
        facts=Facts(rows=tuple((text, text) for text in texts)),
        sections=(Section(title=joined, blocks=blocks),),
        footer=joined,
    )
