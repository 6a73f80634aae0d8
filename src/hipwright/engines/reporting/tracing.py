"""A sheet over one hip's film: drawn on in the canonical plane, handed out in pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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
from hipwright.engines.imaging.film_plane import px_from_plane
from hipwright.engines.measurement.construction import Circles
from hipwright.engines.measurement.measure import HipOnFilm

Floats = NDArray[np.float64]

UP: Floats = np.array([0.0, 1.0])
"""Straight up on the leveled film, at right angles to the pelvic baseline."""

LATERAL: Floats = np.array([1.0, 0.0])
"""Toward the side of the hip; on a false profile toward the front."""

DEGREES_A_STEP = 2.0
CIRCLE_STEPS = 96


def unit(direction: Floats) -> Floats:
    """A direction at length one; a zero direction stays as it is."""
    length = float(np.hypot(*direction))
    return direction / length if length > 0 else direction


class Sheet:
    """Collects the marks of one measurement of one hip.

    Positions are (u, v) of the canonical plane, leveled, as the constructions see
    them; ``marks`` are in ``film_px``.
    """

    def __init__(self, hip: HipOnFilm) -> None:
        self.hip = hip
        self.marks: list[Mark] = []

    def place(self, landmark: str) -> Floats:
        """Where a point landmark, or the center of a circle, was placed, (2,) or (m, 2)."""
        found = self.hip.input(landmark)
        if found is None:
            raise KeyError(landmark)
        return found.center[0] if isinstance(found, Circles) else found[0]

    def radius(self, landmark: str) -> float:
        """The radius of a placed circle."""
        found = self.hip.input(landmark)
        if not isinstance(found, Circles):
            raise KeyError(landmark)
        return float(found.radius[0])

    def line(self, *uv: Floats, stroke: Stroke = Stroke.MEASURE) -> None:
        """A straight line or polyline."""
        self.marks.append(LineMark(xy=self._px(np.stack(uv)), stroke=stroke))

    def outline(self, uv: Floats) -> None:
        """A contour as it was drawn, (m, 2)."""
        self.marks.append(LineMark(xy=self._px(uv), stroke=Stroke.OUTLINE))

    def circle(self, center: Floats, radius: float, stroke: Stroke = Stroke.OUTLINE) -> None:
        """A whole circle."""
        turn = np.linspace(0.0, 2 * np.pi, CIRCLE_STEPS + 1)
        around = center + radius * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
        self.marks.append(CircleMark(xy=self._px(around), stroke=stroke))

    def angle(self, at: Floats, first: Floats, second: Floats, radius: float) -> Floats:
        """The arc between two directions, the shorter way; returns a place for its label."""
        start = float(np.arctan2(first[1], first[0]))
        sweep = float(np.arctan2(second[1], second[0])) - start
        sweep = (sweep + np.pi) % (2 * np.pi) - np.pi
        steps = max(2, int(np.ceil(abs(np.degrees(sweep)) / DEGREES_A_STEP)) + 1)
        turn = start + np.linspace(0.0, sweep, steps)
        around = at + radius * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
        self.marks.append(ArcMark(center=self._one(at), xy=self._px(around)))
        middle = start + sweep / 2
        return at + 1.3 * radius * np.array([np.cos(middle), np.sin(middle)])

    def label(self, at: Floats, text: str) -> None:
        """Words beside a place."""
        self.marks.append(LabelMark(at=self._one(at), text=text))

    def point(self, landmark: str, name: str, at: Floats) -> None:
        """A landmark that went in."""
        self.marks.append(PointMark(at=self._one(at), landmark=landmark, name=name))

    def _px(self, uv: Floats) -> tuple[Px, ...]:
        read = self.hip.read
        roll, direction = float(read.leveling.roll_rad[0]), self.hip.border.direction
        cos, sin = np.cos(roll), np.sin(roll)
        u, v = direction * uv[..., 0], uv[..., 1]
        px = px_from_plane(read.film, np.stack([cos * u - sin * v, sin * u + cos * v], axis=-1))
        return tuple((float(x), float(y)) for x, y in px)

    def _one(self, uv: Floats) -> Px:
        return self._px(uv[None, :])[0]
