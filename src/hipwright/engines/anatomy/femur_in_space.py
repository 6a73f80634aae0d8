"""A femur as the measurements in space see it: a few points, axes and maps.

All places are in ``hip_canonical`` (X lateral, Y anterior, Z superior, mm, origin at the
center of the femoral head as it was surveyed). Every array may have leading axes: index 0
of the first one is the femur as surveyed, the others are draws of its doubt. A landmark
that was not scanned is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurInSpace:
    """What was surveyed on one femur.

    Attributes
    ----------
    head_center, head_radius_mm
        Sphere of the head, (..., 3) and (...).
    neck_axis
        Unit direction from the head's center toward the base of the neck, through the
        sections at 1.40 and 1.25 head radii as ``by_spheres``, (..., 3).
    neck_axis_isthmus, isthmus
        Unit direction to the middle of the narrowest section of the neck, and that middle.
    shaft_point, shaft_axis
        A point of the shaft's axis, and its unit direction upward; NaN where too little of the
        shaft was scanned (the point is then the middle of the lowest whole section).
    long_axis
        Unit direction upward along the whole femur, from the middle of the epicondyles to the
        shaft above the lesser trochanter: versions are seen along it and 12 o'clock is up
        it. Carried on from the curve of the upper shaft where the knee was not scanned, and
        that of a leg on the table where the shaft was not scanned either.
    posterior_condyles
        Hindmost points of the medial and of the lateral condyle, (..., 2, 3).
    epicondyles
        Medial and lateral, (..., 2, 3).
    version_points
        Where the published constructions of version put the distal end of the neck line:
        (..., k, 3) in the order of :data:`VERSION_POINTS`.
    greater_trochanter, lesser_trochanter
        Tips, (..., 3).
    clock_up
        Unit direction of 12 o'clock around the neck, square to ``neck_axis``, (..., 3);
        3 o'clock is anterior.
    hours, angles_deg
        Grid of the map ``radial_mm``: hours (h,), angles from the neck axis (a,), rising.
    radial_mm
        Distance from the head's center to the bone's surface, (..., h, a).
    stations_mm, neck_mm
        Distances along the neck axis from the head's center (s,), and of the bone's
        surface from the axis there, (..., h, s).
    malleoli
        Medial and lateral, (..., 2, 3); NaN where the ankle was not scanned.
    tibial_condyles
        Hindmost points of the tibial plateau, medial and lateral, (..., 2, 3).
    """

    head_center: Floats
    head_radius_mm: Floats
    neck_axis: Floats
    neck_axis_isthmus: Floats
    isthmus: Floats
    shaft_point: Floats
    shaft_axis: Floats
    long_axis: Floats
    posterior_condyles: Floats
    epicondyles: Floats
    version_points: Floats
    greater_trochanter: Floats
    lesser_trochanter: Floats
    clock_up: Floats
    hours: Floats
    angles_deg: Floats
    radial_mm: Floats
    stations_mm: Floats
    neck_mm: Floats
    malleoli: Floats
    tibial_condyles: Floats


VERSION_POINTS = ("lee", "reikeras", "tomczak", "murphy")
"""The constructions whose distal points of the neck line are surveyed, from the head down."""
