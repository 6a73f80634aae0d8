"""Document trees as one self-contained HTML page."""

from __future__ import annotations

from base64 import b64encode

from jinja2 import Environment, PackageLoader, select_autoescape
from markupsafe import Markup

from hipwright.adapters.documents.clock_svg import clock_svg
from hipwright.adapters.documents.film_svg import Crop, overlay_svg
from hipwright.adapters.documents.printed_data import Data, Pictures, document_data
from hipwright.domain.clock_face import ClockFace
from hipwright.domain.report import Document, FilmFigure

_ENVIRONMENT = Environment(
    loader=PackageLoader("hipwright.adapters.documents", "templates"),
    autoescape=select_autoescape(["html"]),
    trim_blocks=True,
    lstrip_blocks=True,
)


def to_html(document: Document, pictures: Pictures) -> str:
    """Print a document as one page that needs nothing else and asks nobody.

    Parameters
    ----------
    document
        The tree.
    pictures
        The crop of every film the document shows, as PNG, in the order of its figures.
    """
    waiting = iter(pictures)

    def figure(shown: FilmFigure) -> Data:
        left, top, width, height = shown.crop_px
        crop = Crop(left=left, top=top, width=width, height=height)
        address = "data:image/png;base64," + b64encode(next(waiting)).decode()
        svg = overlay_svg(
            shown.marks, crop, picture=address, text_width_share=shown.text_width_share
        )
        return {"svg": Markup(svg)}  # noqa: S704 - our own SVG, its texts escaped

    def clock(face: ClockFace) -> Data:
        return {"svg": Markup(clock_svg(face))}  # noqa: S704 - our own SVG, its texts escaped

    template = _ENVIRONMENT.get_template("report.html")
    return template.render(document=document_data(document, figure, clock))
