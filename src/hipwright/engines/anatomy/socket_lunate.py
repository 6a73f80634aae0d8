"""The articular surface of a socket: where it ends toward the rim, and the border of the fossa."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.socket_clock import directions, polar, unit
from hipwright.engines.anatomy.socket_rim import RIM_HOURS, RimCrest
from hipwright.engines.geometry.mesh_rays import tree_hits_mm
from hipwright.engines.geometry.mesh_tree import MeshTree

Floats = NDArray[np.float64]

FOSSA_TURNS = 72
"""Directions about the middle of the fossa in which its border is looked for."""

_STEP_DEG = 1.0
_FOSSA_STEP_DEG = 0.5
_FOSSA_WIDEST_DEG = 75.0
_INNER_DEG = 60.0  # the fossa's middle lies within this angle of the inward pole
_DEEP_MM, _LEVEL_MM = 2.0, 1.0  # depths whose places are carried on to where the wall begins
_SHALLOW_STEPS = 8  # so many in a row end the fossa
_LEAST_SHARE = 0.02
_END_MM, _ENDED_MM = 0.3, 0.7
_BELT_DEG = (5.0, 18.0)  # the articular level is taken this far inside the crest
_ON_SURFACE_MM = 1.6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lunate:
    """What bounds the articular surface, seen from the center of its sphere.

    Attributes
    ----------
    center, radius, opening
        Of the socket.
    outer_rad
        Angle from the inward pole at which it ends, at each of the rim's hours; NaN at the
        notch.
    level_mm
        Its height over the sphere there, (h,): a real socket is no perfect sphere.
    fossa
        Unit direction to the middle of the fossa, (3,); NaN where there is none.
    fossa_rad
        Angle from there to its border, in even turns; NaN toward the notch.
    """

    center: Floats
    radius: float
    opening: Floats
    outer_rad: Floats
    level_mm: Floats
    fossa: Floats
    fossa_rad: Floats

    def outer_places(self) -> Floats:
        """Where it ends toward the rim, (h, 3) mm."""
        return self._at(directions(self.opening, self.outer_rad, RIM_HOURS), self.level_mm)

    def fossa_places(self) -> Floats:
        """The border of the fossa, (k, 3) mm."""
        ways = directions(-self.fossa, self.fossa_rad, _turn_hours())
        _, _, hours = polar(self.center + ways, self.center, self.opening)
        return self._at(ways, _around(hours, self.level_mm))

    def _at(self, ways: Floats, level_mm: Floats) -> Floats:
        return self.center + (self.radius + level_mm)[:, None] * ways

    def carries(self, places: Floats) -> NDArray[np.bool_]:
        """Whether places of the bone's surface, (n, 3), belong to it."""
        distance, angle, hours = polar(places, self.center, self.opening)
        off = np.abs(distance - self.radius - _around(hours, self.level_mm))
        inside = (angle < _around(hours, self.outer_rad)) & (off < _ON_SURFACE_MM)
        if not np.isfinite(self.fossa).all():
            return inside
        _, from_fossa, turns = polar(places, self.center, -self.fossa)
        border = np.append(self.fossa_rad, self.fossa_rad[0])
        at = turns / 12.0 * FOSSA_TURNS
        low = np.minimum(at.astype(int), FOSSA_TURNS - 1)
        between = border[low] + (at - low) * (border[low + 1] - border[low])
        return inside & ~(from_fossa <= between)


def lunate_of(tree: MeshTree, center: Floats, radius: float, rim: RimCrest) -> Lunate:
    """Find the bounds of the articular surface.

    The wall of the fossa is followed up from 2 mm to 1 mm of depth and carried on to the
    level of the articular surface; the outer end from 0.7 mm to 0.3 mm in the same way.
    """
    opening = rim.opening
    _, crest, _ = polar(rim.places, center, opening)
    angles = np.radians(np.arange(0.0, 125.0, _STEP_DEG))
    ways = directions(opening, angles, RIM_HOURS[:, None])
    depth = tree_hits_mm(tree, center, ways) - radius
    level = _levels(depth, angles, crest)
    outer = np.array(
        [
            _outer_end(row - at, angles, end)
            for row, at, end in zip(depth, level, crest, strict=True)
        ]
    )
    bare = Lunate(
        center=center,
        radius=radius,
        opening=opening,
        outer_rad=outer,
        level_mm=level,
        fossa=np.full(3, np.nan),
        fossa_rad=np.full(FOSSA_TURNS, np.nan),
    )
    fossa = _fossa_middle(depth, angles, ways)
    if fossa is None:
        return bare
    return Lunate(
        center=center,
        radius=radius,
        opening=opening,
        outer_rad=outer,
        level_mm=level,
        fossa=fossa,
        fossa_rad=_fossa_border(tree, bare, fossa),
    )


def _turn_hours() -> Floats:
    return np.arange(0.0, 12.0, 12.0 / FOSSA_TURNS)


def _around(hours: Floats, values: Floats) -> Floats:
    """Values at the rim's hours, at other hours; NaN beside a NaN."""
    at = np.nan_to_num(hours) / (RIM_HOURS[1] - RIM_HOURS[0])
    low = np.minimum(at.astype(int), len(RIM_HOURS) - 1)
    closed = np.append(values, values[0])
    return closed[low] + (at - low) * (closed[low + 1] - closed[low])


def _levels(depth: Floats, angles: Floats, crest: Floats) -> Floats:
    """Median height over the sphere in a belt inside the crest, hour by hour."""
    inside = np.degrees(crest[:, None] - angles)
    belt = (inside > _BELT_DEG[0]) & (inside < _BELT_DEG[1]) & (np.abs(depth) < _ON_SURFACE_MM)
    found = np.zeros(len(depth))
    for k in np.flatnonzero(belt.any(axis=1)):
        found[k] = float(np.median(depth[k, belt[k]]))
    return found


def _outer_end(depth: Floats, angles: Floats, crest: float) -> float:
    if not np.isfinite(crest):
        return float("nan")
    near = (angles > crest - np.radians(_BELT_DEG[1])) & (angles < crest)
    row, at = depth[near], angles[near]
    past = np.flatnonzero(~(row < _ENDED_MM))
    if not len(past) or past[0] == 0 or not np.isfinite(row[past[0]]):
        return crest
    last = int(past[0])
    ended = _between(at, row, last, _ENDED_MM)
    begun = np.flatnonzero(row[:last] < _END_MM)
    start = _between(at, row, int(begun[-1]) + 1, _END_MM) if len(begun) else ended
    return min(start - (ended - start) * _END_MM / (_ENDED_MM - _END_MM), crest)


def _between(at: Floats, row: Floats, index: int, height: float) -> float:
    """Where a rising profile passes a height between an index and the one before."""
    before, after = row[index - 1], row[index]
    share = (height - before) / max(after - before, 1e-9)
    return float(at[index - 1] + min(max(share, 0.0), 1.0) * (at[index] - at[index - 1]))


def _fossa_middle(depth: Floats, angles: Floats, ways: Floats) -> Floats | None:
    deep = ~(depth < _DEEP_MM) & (np.degrees(angles) < _INNER_DEG)
    weight = np.where(deep, np.sin(angles), 0.0)
    if weight.sum() < _LEAST_SHARE * np.sin(angles).sum() * len(depth):
        return None
    return unit((weight[..., None] * ways).sum(axis=(0, 1)))


def _fossa_border(tree: MeshTree, lunate: Lunate, fossa: Floats) -> Floats:
    angles = np.radians(np.arange(0.0, _FOSSA_WIDEST_DEG, _FOSSA_STEP_DEG))
    ways = directions(-fossa, angles, _turn_hours()[:, None])
    hits = tree_hits_mm(tree, lunate.center, ways)
    places = lunate.center + ways
    _, from_pole, hours = polar(places, lunate.center, lunate.opening)
    depth = hits - lunate.radius - _around(hours, lunate.level_mm)
    beyond = ~(from_pole < _around(hours, lunate.outer_rad))
    return np.array([_climbed(row, out, angles) for row, out in zip(depth, beyond, strict=True)])


def _climbed(depth: Floats, beyond: NDArray[np.bool_], angles: Floats) -> float:
    """Where the wall of the fossa meets the articular level; NaN where it never does."""
    shallow = (depth < _LEVEL_MM) & ~beyond
    runs = np.convolve(shallow, np.ones(_SHALLOW_STEPS), mode="valid") == _SHALLOW_STEPS
    if not runs.any():
        return float("nan")
    first = int(runs.argmax())
    if first == 0:
        return float("nan")
    level = _falling(angles, depth, first, _LEVEL_MM)
    deep = np.flatnonzero(~(depth[:first] < _DEEP_MM))
    if not len(deep):
        return level
    wall = _falling(angles, depth, int(deep[-1]) + 1, _DEEP_MM)
    return level + (level - wall) * _LEVEL_MM / (_DEEP_MM - _LEVEL_MM)


def _falling(at: Floats, row: Floats, index: int, height: float) -> float:
    before, after = row[index - 1], row[index]
    if not np.isfinite(before):
        return float(at[index])
    share = (before - height) / max(before - after, 1e-9)
    return float(at[index - 1] + min(max(share, 0.0), 1.0) * (at[index] - at[index - 1]))
