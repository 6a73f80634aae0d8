"""A socket as the measurements in space see it: its rim, its surface, and points around it.

All places are in ``hip_canonical`` (X lateral, Y anterior, Z superior, mm, origin at the
center of the femoral head as it was surveyed). Every array may have leading axes: index 0
of the first one is the socket as surveyed, the others are draws of its doubt. A landmark
that was not scanned is NaN.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SocketInSpace:
    """What was surveyed on one hip bone.

    Attributes
    ----------
    head_center, head_radius_mm
        Sphere of the femoral head that the socket is measured about, (..., 3) and (...).
    center, radius_mm
        Sphere of the articular surface, (..., 3) and (...).
    opening
        Unit direction the socket looks to (outward, forward, downward), (..., 3): normal
        of the plane that fits the rim best.
    rim_hours, rim
        Clock hours (h,) about ``opening`` and the crest of the bony rim there, (..., h, 3).
        12 is the pelvis's superior, seen along the opening; 3 anterior. NaN at the notch.
    lunate_outer
        Where the articular surface ends toward the rim at the same hours, (..., h, 3).
    fossa_edge
        Border of the fossa in turns about its middle, (..., k, 3); NaN toward the notch.
    map_hours, map_angles_deg
        Grid of the maps: hours (m,) about ``opening``, and angles from the *inward* pole
        (−opening) toward the rim (a,).
    surface_mm
        Distance from the head's center to the articular surface, (..., m, a); NaN in the
        fossa, in the notch and beyond the rim.
    gap_mm
        Width of the joint: smallest distance from that place of the articular surface to
        the femur, (..., m, a); NaN where there is none, or no femur.
    points
        Landmarks by id of the catalog's bone features, (..., 3) each; among them the other
        hip's head center as ``opposite_head_center`` where it was scanned.
    ischiofemoral_mm, ischiofemoral_ends
        Smallest distance of the ischium from the lesser trochanter, (...), and its two
        ends (ischium, femur), (..., 2, 3).
    """

    head_center: Floats
    head_radius_mm: Floats
    center: Floats
    radius_mm: Floats
    opening: Floats
    rim_hours: Floats
    rim: Floats
    lunate_outer: Floats
    fossa_edge: Floats
    map_hours: Floats
    map_angles_deg: Floats
    surface_mm: Floats
    gap_mm: Floats
    points: Mapping[str, Floats]
    ischiofemoral_mm: Floats
    ischiofemoral_ends: Floats
