"""Where lines meet outlines, on raw arrays.

An outline is (..., m, 2), its vertices in drawing order; leading axes are draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def cross(first: Floats, second: Floats) -> Floats:
    """Signed area spanned by two directions, (..., 2) and (..., 2) to (...)."""
    return first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]


def along_line(
    outline: Floats, origin: Floats, direction: Floats, *, forward: bool = False
) -> Floats:
    """How far along a line an outline is first met.

    Parameters
    ----------
    outline
        (..., m, 2).
    origin, direction
        A point of the line and its direction, (..., 2); the direction's length is
        the unit of the answer.
    forward
        Whether only what lies ahead of the origin counts.

    Returns
    -------
    Array of shape (...): the signed distance of the first meeting in drawing order,
    NaN where there is none.
    """
    along_x, along_y = direction[..., 0, None], direction[..., 1, None]
    arm_x = outline[..., 0] - origin[..., 0, None]
    arm_y = outline[..., 1] - origin[..., 1, None]
    beside = along_x * arm_y - along_y * arm_x
    ahead = (along_x * arm_x + along_y * arm_y) / (along_x**2 + along_y**2)
    start, end = beside[..., :-1], beside[..., 1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = start / (start - end)
    place = ahead[..., :-1] + share * (ahead[..., 1:] - ahead[..., :-1])
    met = (start * end <= 0) & (start != end)
    if forward:
        met &= place > 0
    return first_where(met, place)


def first_where(met: Flags, values: Floats) -> Floats:
    """The first value along the last axis whose flag is set, NaN where none is."""
    index = met.argmax(axis=-1)[..., None]
    found = np.take_along_axis(values, index, axis=-1)[..., 0]
    return np.where(met.any(axis=-1), found, np.nan)


def across_at_height(outline: Floats, height: Floats) -> Floats:
    """First coordinate of an outline where it has that second coordinate, (...)."""
    origin = np.stack([np.zeros_like(height), height], axis=-1)
    direction = np.zeros_like(origin)
    direction[..., 0] = 1.0
    return along_line(outline, origin, direction)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossings:
    """Where two outlines cross: every pair of segments.

    ``places`` is (..., a, b, 2), ``met`` (..., a, b), ``turn`` the signed area of the
    two segments' directions, (..., a, b): positive where the second turns left of the first.
    """

    places: Floats
    met: Flags
    turn: Floats


def crossings(first: Floats, second: Floats) -> Crossings:
    """All crossings of two outlines, (..., a + 1, 2) and (..., b + 1, 2)."""
    start, along = first[..., :-1, None, :], np.diff(first, axis=-2)[..., :, None, :]
    other, across = second[..., None, :-1, :], np.diff(second, axis=-2)[..., None, :, :]
    turn = cross(along, across)
    gap = other - start
    with np.errstate(invalid="ignore", divide="ignore"):
        share = cross(gap, across) / turn
        share_other = cross(gap, along) / turn
    met = (share >= 0) & (share <= 1) & (share_other >= 0) & (share_other <= 1)
    return Crossings(places=start + share[..., None] * along, met=met, turn=turn)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PolarOutline:
    """An outline as distance over angle about a center, for many draws at once.

    ``angle`` (..., m) runs from straight up, positive toward +u, ascending; ``radius`` (..., m).
    """

    angle: Floats
    radius: Floats

    @property
    def low(self) -> Floats:
        """Smallest angle drawn, (...)."""
        return self.angle[..., 0]

    @property
    def high(self) -> Floats:
        """Largest angle drawn, (...)."""
        return self.angle[..., -1]

    def at(self, angle: Floats) -> Floats:
        """Distance at angles of shape (..., k), which must lie between low and high.

        Linear in the angle between vertices, which follows a round outline more
        closely than its chords do. All draws go through one interpolation: each is
        moved to an interval of its own.
        """
        rows = self.angle.reshape(-1, self.angle.shape[-1])
        asked = np.clip(angle, self.low[..., None], self.high[..., None])
        asked_rows = asked.reshape(-1, asked.shape[-1])
        apart = 3 * np.pi * np.arange(len(rows))[:, None]
        found = np.interp(
            (asked_rows + apart).ravel(), (rows + apart).ravel(), self.radius.reshape(-1)
        )
        return found.reshape(asked.shape)


def polar(outline: Floats, center: Floats) -> PolarOutline:
    """An outline, (..., m, 2), about a center, (..., 2)."""
    arm_x = outline[..., 0] - center[..., 0, None]
    arm_y = outline[..., 1] - center[..., 1, None]
    angle, radius = np.arctan2(arm_x, arm_y), np.hypot(arm_x, arm_y)
    steps = np.diff(angle, axis=-1)
    if (steps > 0).all():
        return PolarOutline(angle=angle, radius=radius)
    if (steps < 0).all():
        return PolarOutline(angle=angle[..., ::-1], radius=radius[..., ::-1])
    order = angle.argsort(axis=-1, kind="stable")
    return PolarOutline(
        angle=np.take_along_axis(angle, order, axis=-1),
        radius=np.take_along_axis(radius, order, axis=-1),
    )


def thinned(outline: Floats, tolerance: float) -> Floats:
    """An outline without the vertices that its straight pieces do not need.

    Parameters
    ----------
    outline
        (m, 2).
    tolerance
        Greatest distance that a left-out vertex may have from what remains.
    """
    keep = np.zeros(len(outline), dtype=np.bool_)
    keep[[0, -1]] = True
    stack = [(0, len(outline) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:  # noqa: PLR2004 - nothing lies between neighbors
            continue
        chord = outline[last] - outline[first]
        arms = outline[first + 1 : last] - outline[first]
        length = float(np.hypot(*chord))
        share = np.clip((arms @ chord) / length**2, 0, 1) if length > 0 else np.zeros(len(arms))
        off = np.hypot(*(arms - share[:, None] * chord).T)
        farthest = int(off.argmax())
        if off[farthest] > tolerance:
            middle = first + 1 + farthest
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    return outline[keep]
