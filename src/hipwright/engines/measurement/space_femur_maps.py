"""What the maps of head and neck give, hour by hour: shared by several measurements.

Arrays may have leading axes throughout: ``(..., h)`` by hour, ``(..., h, a)`` by hour and
angle from the neck axis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_in_space import FemurInSpace

Floats = NDArray[np.float64]

HOURS_ROUND = 12.0
FAR_MM = 99.0
WAIST = (0.7, 1.6)
"""Head radii along the neck axis between which the neck's narrowest place is looked for."""


def at_hours(by_hour: Floats, map_hours: Floats, hours: Floats, axis: int) -> Floats:
    """Values of a map at other hours, linear between the map's own, around the clock."""
    turned = np.asarray(hours) % HOURS_ROUND
    step = map_hours[1] - map_hours[0]
    place = (turned - map_hours[0]) / step
    low = np.floor(place + 1e-9).astype(np.int64)
    share = np.clip(place - low, 0.0, 1.0)
    count = len(map_hours)
    before: Floats = np.take(by_hour, low % count, axis=axis)
    after: Floats = np.take(by_hour, (low + 1) % count, axis=axis)
    shape = [1] * by_hour.ndim
    shape[axis] = len(turned)
    weight = share.reshape(shape)
    between: Floats = np.where(weight > 0, before + weight * (after - before), before)
    return between


def over_sphere_mm(femur: FemurInSpace) -> Floats:
    """How far the surface stands out of the head's sphere, (..., h, a)."""
    return femur.radial_mm - femur.head_radius_mm[..., None, None]


def onset_deg(
    over_mm: Floats,
    angles_deg: Floats,
    *,
    departure_mm: float,
    reaches_mm: float,
    from_deg: float,
) -> Floats:
    """Angle from the neck axis where the outline, coming from the head, leaves the sphere.

    The march from the head goes on to the first place that stands ``reaches_mm`` or more out
    of the sphere, and from there back to where the outline had ``departure_mm``: so that an
    uneven head alone is no onset. Where no ray meets the bone, as into the trochanter, it is
    taken to be far outside.

    Parameters
    ----------
    over_mm
        (..., h, a) at rising angles.
    from_deg
        Where the march begins.

    Returns
    -------
    Degrees, (..., h); NaN where it never gets that far, or does not come near the sphere first.
    """
    over = np.nan_to_num(over_mm, nan=FAR_MM)
    step = float(angles_deg[1] - angles_deg[0])
    begin = int(np.count_nonzero(angles_deg <= from_deg))
    tall = over[..., :begin] >= reaches_mm
    top: NDArray[np.int64] = begin - 1 - np.argmax(tall[..., ::-1], axis=-1)
    columns: NDArray[np.int64] = np.arange(over.shape[-1], dtype=np.int64)
    near: NDArray[np.bool_] = np.logical_and(over <= departure_mm, columns > top[..., None])
    at: NDArray[np.int64] = np.argmax(near, axis=-1)
    found = tall.any(axis=-1) & near.any(axis=-1) & (at <= begin)
    last = np.clip(at - 1, 0, None)
    below = np.take_along_axis(over, last[..., None], -1)[..., 0]
    above = np.take_along_axis(over, at[..., None], -1)[..., 0]
    share = np.clip((below - departure_mm) / np.maximum(below - above, 1e-9), 0.0, 1.0)
    return np.where(found, angles_deg[last] + share * step, np.nan)


def waist_mm(femur: FemurInSpace) -> Floats:
    """Distance of the neck's surface from the neck axis where it is least, (..., h)."""
    radius = np.median(np.asarray(femur.head_radius_mm))
    zone = (femur.stations_mm > WAIST[0] * radius) & (femur.stations_mm < WAIST[1] * radius)
    necks = np.where(np.isfinite(femur.neck_mm), femur.neck_mm, np.inf)[..., zone]
    least = necks.min(axis=-1)
    return np.where(np.isfinite(least), least, np.nan)


def bump_mm(
    femur: FemurInSpace,
    *,
    departure_mm: float,
    reaches_mm: float,
    from_deg: float,
    neck_from_deg: float,
) -> Floats:
    """Height over the sphere of the bone at the junction that is no neck, (..., h, a); else 0.

    It reaches from where the outline leaves the sphere, down to where a healthy neck would
    leave it: ``neck_from_deg``, or farther from the axis where this femur's own waist is so
    wide that a straight neck would leave the sphere there.
    """
    over = over_sphere_mm(femur)
    angles = femur.angles_deg
    onset = onset_deg(
        over,
        angles,
        departure_mm=departure_mm,
        reaches_mm=reaches_mm,
        from_deg=from_deg,
    )
    thick = waist_mm(femur) / np.asarray(femur.head_radius_mm)[..., None]
    own_neck = np.degrees(np.arcsin(np.clip(np.nan_to_num(thick), 0.0, 1.0)))
    low = np.maximum(own_neck, neck_from_deg)[..., None]
    inside = over <= 0.0
    beyond_onset = angles > onset[..., None]
    fades = np.cumsum(inside & beyond_onset, axis=-1) == 0  # up to where it meets the sphere
    zone = (angles > low) & (~beyond_onset | fades) & (onset > low[..., 0])[..., None]
    return np.where(zone, np.nan_to_num(np.clip(over, 0.0, None)), 0.0)
