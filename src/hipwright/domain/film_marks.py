"""What is drawn over a film: lines, arcs, circles, points and labels, in ``film_px``.

Screens and documents draw these and compute nothing: where a line runs is
decided once, by the engine that measures.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

Px = tuple[float, float]
"""Column and row, the center of the first pixel at (0, 0)."""


class Stroke(Enum):
    """What a mark stands for; how it looks is the screen's business."""

    MEASURE = "measure"
    BASELINE = "baseline"
    OUTLINE = "outline"
    FAINT = "faint"


@dataclass(frozen=True, slots=True, kw_only=True)
class LineMark:
    """A straight line or an open polyline."""

    xy: tuple[Px, ...]
    stroke: Stroke = Stroke.MEASURE


@dataclass(frozen=True, slots=True, kw_only=True)
class ArcMark:
    """An arc about ``center`` through the points ``xy``, already flattened to a polyline."""

    center: Px
    xy: tuple[Px, ...]
    stroke: Stroke = Stroke.MEASURE


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleMark:
    """A circle of the plane of the hip; flattened, since pixels need not be square."""

    xy: tuple[Px, ...]
    stroke: Stroke = Stroke.OUTLINE


@dataclass(frozen=True, slots=True, kw_only=True)
class PointMark:
    """A placed landmark."""

    at: Px
    landmark: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelMark:
    """Words at a place, such as ``LCEA 28°``."""

    at: Px
    text: str


Mark = LineMark | ArcMark | CircleMark | PointMark | LabelMark
