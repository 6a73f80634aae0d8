"""The neck of a femur in space: its waist, its offset from the head, its angle with the shaft."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_construction import measures_in_space
from hipwright.engines.measurement.space_femur_access import (
    between_deg,
    dot,
    femur_of,
    square_part,
)
from hipwright.engines.measurement.space_femur_maps import WAIST, at_hours, waist_mm

Floats = NDArray[np.float64]


@measures_in_space("neck_waist.by_hour")
def neck_waist(hip: HipInSpace, *, hours: Floats) -> Floats:
    """Distance of the neck's surface from the neck axis where it is least, mm, (..., hours)."""
    femur = femur_of(hip)
    return at_hours(waist_mm(femur), femur.hours, hours, -1)


@measures_in_space("head_neck_offset.by_hour")
def head_neck_offset(hip: HipInSpace, *, hours: Floats) -> Floats:
    """How far the head's sphere stands out beyond the waist of the neck, mm, (..., hours)."""
    femur = femur_of(hip)
    waist = at_hours(waist_mm(femur), femur.hours, hours, -1)
    return np.asarray(femur.head_radius_mm)[..., None] - waist


@measures_in_space("head_neck_offset_ratio.by_hour")
def head_neck_offset_ratio(hip: HipInSpace, *, hours: Floats) -> Floats:
    """Head–neck offset over the diameter of the head, (..., hours)."""
    femur = femur_of(hip)
    radius = np.asarray(femur.head_radius_mm)[..., None]
    return (radius - at_hours(waist_mm(femur), femur.hours, hours, -1)) / (2.0 * radius)


@measures_in_space("neck_section_area")
def neck_section_area(hip: HipInSpace) -> Floats:
    """Area of the smallest section of the neck square to its axis, mm²."""
    femur = femur_of(hip)
    radius = np.median(np.asarray(femur.head_radius_mm))
    zone = (femur.stations_mm > WAIST[0] * radius) & (femur.stations_mm < WAIST[1] * radius)
    turn = np.radians(30.0 * (femur.hours[1] - femur.hours[0]))
    one = femur.neck_mm[..., zone]
    areas = 0.5 * np.sin(turn) * (one * np.roll(one, -1, axis=-2)).sum(axis=-2)
    least = np.where(np.isfinite(areas), areas, np.inf).min(axis=-1)
    return np.where(np.isfinite(least), least, np.nan)


@measures_in_space("neck_shaft_angle.in_space")
def neck_shaft_angle(hip: HipInSpace) -> Floats:
    """Between the neck axis by the sphere of 1.40 radii and the shaft running down, degrees."""
    femur = femur_of(hip)
    return between_deg(-femur.neck_axis, -femur.shaft_axis)


@measures_in_space("neck_shaft_angle.in_space_isthmus")
def neck_shaft_angle_isthmus(hip: HipInSpace) -> Floats:
    """The same with the axis through the middle of the narrowest neck, degrees."""
    femur = femur_of(hip)
    return between_deg(-femur.neck_axis_isthmus, -femur.shaft_axis)


@measures_in_space("neck_shaft_angle.in_space_frontal")
def neck_shaft_angle_frontal(hip: HipInSpace) -> Floats:
    """The same seen from the front of the pelvis, the leg lying as it was scanned, degrees."""
    femur = femur_of(hip)
    flat = np.array([1.0, 0.0, 1.0])
    return between_deg(-femur.neck_axis * flat, -femur.shaft_axis * flat)


@measures_in_space("femoral_offset.in_space")
def femoral_offset(hip: HipInSpace) -> Floats:
    """Distance of the head's center from the axis of the shaft, mm."""
    femur = femur_of(hip)
    out = square_part(femur.shaft_point - femur.head_center, femur.shaft_axis)
    return np.linalg.norm(out, axis=-1)


@measures_in_space("trochanter_height")
def trochanter_height(hip: HipInSpace) -> Floats:
    """How far the greater trochanter's tip lies above the head's center, up the shaft, mm."""
    femur = femur_of(hip)
    return dot(femur.greater_trochanter - femur.head_center, femur.shaft_axis)
