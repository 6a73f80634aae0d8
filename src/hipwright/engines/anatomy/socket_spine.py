"""Where the anterior inferior iliac spine ends toward the rim."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.socket_clock import HOURS, directions, polar
from hipwright.engines.anatomy.socket_rim import RIM_HOURS, RimCrest, crest_profile
from hipwright.engines.geometry.mesh_tree import MeshTree

Floats = NDArray[np.float64]

_STEP_MM = 0.25
_UNEVEN_MM = 1.0
_FARTHEST_MM = 60.0
_BESIDE_HOURS = np.array([-1.0 / 3.0, -1.0 / 6.0, 0.0, 1.0 / 6.0, 1.0 / 3.0])


def spine_lower_end(tree: MeshTree, center: Floats, rim: RimCrest, tip: Floats) -> Floats:
    """Find the lower end of the spine in radial sections through its tip and beside it.

    Looked at along the socket's opening from the crest of the rim outward to the tip, the
    bone is held against the straight line between the two. Where it is hollowed by a
    millimeter or more, the spine begins at the deepest place of the hollow and ends at its
    lowest place from there to the tip; where it bulges by
    as much, the spine runs down to the rim, and its lower end is the lowest place of the
    bulge; a straight wall is halved (judgment). Of five sections within twenty minutes of
    the tip's hour, the one whose end lies at the middle height counts.

    Returns
    -------
    Shape (3,), mm; NaN where the tip was not scanned or the rim has no crest there.
    """
    nowhere = np.full(3, np.nan)
    if not np.isfinite(tip).all():
        return nowhere
    _, _, hour = polar(tip[None], center, rim.opening)
    reach = _from_axis(tip - center, rim.opening)
    ends = [
        _end_at(tree, center, rim, float(hour[0] + beside) % HOURS, reach)
        for beside in _BESIDE_HOURS
    ]
    known = [end for end in ends if np.isfinite(end).all()]
    if not known:
        return nowhere
    return sorted(known, key=lambda end: float(end[2]))[len(known) // 2]


def _end_at(tree: MeshTree, center: Floats, rim: RimCrest, hour: float, reach: float) -> Floats:
    at = round(hour / (RIM_HOURS[1] - RIM_HOURS[0])) % len(RIM_HOURS)
    crest = rim.places[at]
    start = _from_axis(crest - center, rim.opening)
    if not start + _STEP_MM < reach < _FARTHEST_MM + start:
        return crest  # the tip stands over the rim; NaN where there is no rim
    out = np.arange(start, reach, _STEP_MM)
    hours = RIM_HOURS[at : at + 1]
    height = crest_profile(tree, center, rim.opening, hours, out)[0]
    way = directions(rim.opening, np.array(np.pi / 2), hours)[0]
    places = center + out[:, None] * way + height[:, None] * rim.opening
    return places[_lower_end(height, float((crest - center) @ rim.opening), places[:, 2])]


def _lower_end(height: Floats, crest: float, upward: Floats) -> int:
    """Which place of the profile from crest to tip is the lower end of the spine."""
    gaps = np.flatnonzero(~np.isfinite(height))
    if len(gaps):
        first = min(int(gaps[-1]) + 1, len(height) - 1)
        return first + int(upward[first:].argmin())
    share = np.arange(len(height)) / max(len(height) - 1, 1)
    hollow = (1.0 - share) * crest + share * height[-1] - height
    deepest = int(hollow.argmax())
    if hollow[deepest] >= _UNEVEN_MM:
        return deepest + int(upward[deepest:].argmin())
    bulging = np.flatnonzero(hollow <= -_UNEVEN_MM)
    if len(bulging):
        return int(bulging[upward[bulging].argmin()])
    return len(height) // 2


def _from_axis(away: Floats, opening: Floats) -> float:
    return float(np.linalg.norm(away - (away @ opening) * opening))
