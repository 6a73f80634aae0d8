"""Document trees as PDF, by typst."""

from __future__ import annotations

import json
import tempfile
from importlib.resources import files
from pathlib import Path

import typst

from hipwright.adapters.documents.clock_svg import clock_svg
from hipwright.adapters.documents.film_svg import Crop, overlay_svg
from hipwright.adapters.documents.printed_data import Data, Pictures, document_data
from hipwright.domain.clock_face import ClockFace
from hipwright.domain.errors import KeepingError
from hipwright.domain.report import Document, FilmFigure

TEMPLATE = files("hipwright.adapters.documents") / "templates" / "report.typ"


def to_pdf(document: Document, pictures: Pictures) -> bytes:
    """Print a document.

    Parameters
    ----------
    document
        The tree.
    pictures
        The crop of every film the document shows, as PNG, in the order of its figures.

    Returns
    -------
    The PDF file, tagged, with the caution and page numbers at the foot of every page.

    Raises
    ------
    KeepingError
        There is no room for temporary files, or a picture cannot be printed.
    """
    try:
        return _printed(document, pictures)
    except (OSError, typst.TypstError) as error:
        said = error.strerror if isinstance(error, OSError) else str(error)
        raise KeepingError(
            "cannot print the report",
            found=said or type(error).__name__,
            needed="room for temporary files, and pictures that can be read",
            next_step="Free some room; `hipwright doctor` checks the pictures.",
        ) from error


def _printed(document: Document, pictures: Pictures) -> bytes:
    with tempfile.TemporaryDirectory(prefix="hipwright-print-") as name:
        folder = Path(name)
        figures = _Figures(folder, pictures)
        data = document_data(document, figures.keep, figures.keep_clock)
        (folder / "data.json").write_text(json.dumps(data), "utf-8")
        (folder / "report.typ").write_text(TEMPLATE.read_text("utf-8"), "utf-8")
        return typst.compile(
            str(folder / "report.typ"),
            root=str(folder),
        )


class _Figures:
    """Lays the pictures of a document and their overlays into typst's folder."""

    def __init__(self, folder: Path, pictures: Pictures) -> None:
        self.folder = folder
        self.pictures = pictures
        self.count = 0
        self.clocks = 0

    def keep(self, figure: FilmFigure) -> Data:
        left, top, width, height = figure.crop_px
        crop = Crop(left=left, top=top, width=width, height=height)
        picture = f"film-{self.count}.png"
        overlay = f"marks-{self.count}.svg"
        (self.folder / picture).write_bytes(self.pictures[self.count])
        self.count += 1
        (self.folder / overlay).write_text(
            overlay_svg(figure.marks, crop, text_width_share=figure.text_width_share), "utf-8"
        )
        return {"picture": picture, "overlay": overlay}

    def keep_clock(self, face: ClockFace) -> Data:
        name = f"clock-{self.clocks}.svg"
        self.clocks += 1
        (self.folder / name).write_text(clock_svg(face), "utf-8")
        return {"drawing": name}
