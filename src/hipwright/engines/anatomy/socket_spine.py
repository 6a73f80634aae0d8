"""Where the anterior inferior iliac spine ends toward the rim."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.socket_clock import polar
from hipwright.engines.anatomy.socket_rim import RIM_HOURS, RimCrest, crest_profile
from hipwright.engines.geometry.mesh_tree import MeshTree

Floats = NDArray[np.float64]

_STEP_MM = 0.25
_LEAST_HOLLOW_MM = 1.0
_FARTHEST_MM = 60.0


def spine_lower_end(tree: MeshTree, center: Floats, rim: RimCrest, tip: Floats) -> Floats:
    """Find the lower end of the spine in the radial section through its tip.

    Looked at along the socket's opening from the crest of the rim outward to the tip: the
    deepest place under the straight line between them, where the spine rises out of the wall
    of the ilium. Where the wall is hollowed by less than a millimeter, the spine runs down
    to the rim itself, and its lower end is its lowest place between the two.

    Returns
    -------
    Shape (3,), mm; NaN where the tip was not scanned or the rim has no crest there.
    """
    nowhere = np.full(3, np.nan)
    if not np.isfinite(tip).all():
        return nowhere
    _, _, hour = polar(tip[None], center, rim.opening)
    at = round(float(hour[0]) / (RIM_HOURS[1] - RIM_HOURS[0])) % len(RIM_HOURS)
    crest = rim.places[at]
    start, end = (_from_axis(place - center, rim.opening) for place in (crest, tip))
    if not start < end < _FARTHEST_MM + start:
        return crest  # the tip stands over the rim; NaN where there is no rim
    out = np.arange(start, end, _STEP_MM)
    height = crest_profile(tree, center, rim.opening, hour, out)[0]
    if not np.isfinite(height[-1]):
        return nowhere
    ring = tip - center
    ring = ring - (ring @ rim.opening) * rim.opening
    ring /= np.linalg.norm(ring)
    places = center + out[:, None] * ring + height[:, None] * rim.opening
    return places[_lower_end(height, float((crest - center) @ rim.opening), places[:, 2])]


def _lower_end(height: Floats, crest: float, upward: Floats) -> int:
    """Which place of the profile from crest to tip is the lower end of the spine."""
    gaps = np.flatnonzero(~np.isfinite(height))
    if len(gaps):
        return int(gaps[-1]) + 1
    share = np.arange(len(height)) / max(len(height) - 1, 1)
    hollow = (1.0 - share) * crest + share * height[-1] - height
    deepest = int(hollow.argmax())
    return deepest if hollow[deepest] >= _LEAST_HOLLOW_MM else int(upward.argmin())


def _from_axis(away: Floats, opening: Floats) -> float:
    return float(np.linalg.norm(away - (away @ opening) * opening))
