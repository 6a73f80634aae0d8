"""Marks over a film as one SVG picture, in the film's own pixels."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from hipwright.domain.film_marks import (
    ArcMark,
    CircleMark,
    LabelMark,
    LineMark,
    Mark,
    PointMark,
    Px,
    Stroke,
)

STYLES = {
    Stroke.MEASURE: 'stroke="#ffd75e" stroke-width="{w}"',
    Stroke.BASELINE: 'stroke="#9fd3ff" stroke-width="{w}" stroke-dasharray="{dash}"',
    Stroke.OUTLINE: 'stroke="#7be0c3" stroke-width="{w}"',
    Stroke.FAINT: 'stroke="#ffffff" stroke-opacity="0.45" stroke-width="{w}"',
}
"""Light strokes, told apart by dash and by their labels as well as by color."""

FONT = "Source Sans 3, Helvetica, Arial, sans-serif"
LINES_ACROSS = 460
"""A stroke is the width of the page's text over this: a hairline in print."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """The shown part of a film, in pixels."""

    left: float
    top: float
    width: float
    height: float


def overlay_svg(
    marks: Iterable[Mark], crop: Crop, *, picture: str | None = None, text_width_share: float = 1.0
) -> str:
    """Draw marks over the crop of a film.

    Parameters
    ----------
    marks
        In ``film_px``.
    crop
        The shown part; the SVG's own units are film pixels.
    picture
        Address of the crop's picture to lie under the marks, if any.
    text_width_share
        How much of the page's text width the picture fills, so that strokes and letters
        have one size in print.
    """
    unit = crop.width / (LINES_ACROSS * text_width_share)
    parts = [_drawn(mark, unit) for mark in sorted(marks, key=lambda m: isinstance(m, LabelMark))]
    under = "" if picture is None else _picture(picture, crop)
    box = f"{crop.left:.2f} {crop.top:.2f} {crop.width:.2f} {crop.height:.2f}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" '
        f'width="{crop.width:.0f}" height="{crop.height:.0f}">{under}{"".join(parts)}</svg>'
    )


def _picture(address: str, crop: Crop) -> str:
    return (
        f'<image href="{escape(address)}" x="{crop.left:.2f}" y="{crop.top:.2f}" '
        f'width="{crop.width:.2f}" height="{crop.height:.2f}" preserveAspectRatio="none"/>'
    )


def _drawn(mark: Mark, unit: float) -> str:
    match mark:
        case LineMark() | ArcMark():
            return _polyline(mark.xy, mark.stroke, unit, closed=False)
        case CircleMark():
            return _polyline(mark.xy, mark.stroke, unit, closed=True)
        case PointMark():
            return _cross(mark.at, unit)
        case LabelMark():
            return _label(mark, unit)


def _polyline(xy: tuple[Px, ...], stroke: Stroke, unit: float, *, closed: bool) -> str:
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in xy)
    style = STYLES[stroke].format(w=f"{1.1 * unit:.2f}", dash=f"{5 * unit:.2f} {4 * unit:.2f}")
    kind = "polygon" if closed else "polyline"
    return f'<{kind} points="{points}" fill="none" stroke-linejoin="round" {style}/>'


def _cross(at: Px, unit: float) -> str:
    x, y, arm = at[0], at[1], 4 * unit
    path = f"M{x - arm:.2f},{y:.2f}H{x + arm:.2f}M{x:.2f},{y - arm:.2f}V{y + arm:.2f}"
    return f'<path d="{path}" stroke="#ffffff" stroke-width="{unit:.2f}" fill="none"/>'


def _label(mark: LabelMark, unit: float) -> str:
    x, y = mark.at
    size = 12 * unit
    words = "".join(letter for letter in mark.text if letter.isprintable())
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FONT}" font-size="{size:.2f}" '
        f'fill="#ffffff" stroke="#000000" stroke-width="{2.4 * unit:.2f}" stroke-opacity="0.7" '
        f'paint-order="stroke" stroke-linejoin="round">{escape(words)}</text>'
    )
