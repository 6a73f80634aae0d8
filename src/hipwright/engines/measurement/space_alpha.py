"""Alpha angles around the neck, and how far around it a bump reaches."""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_construction import measures_in_space
from hipwright.engines.measurement.space_femur_access import femur_of
from hipwright.engines.measurement.space_femur_maps import (
    HOURS_ROUND,
    at_hours,
    onset_deg,
    over_sphere_mm,
)

Floats = NDArray[np.float64]

FULL_TURN_DEG = 360.0
FEWEST_HOURS = 0.75
"""Share of the hours that must have an alpha before their extent is told."""


def _by_hour(
    femur: FemurInSpace, *, departure_mm: float, reaches_mm: float, from_deg: float
) -> Floats:
    return onset_deg(
        over_sphere_mm(femur),
        femur.angles_deg,
        departure_mm=departure_mm,
        reaches_mm=reaches_mm,
        from_deg=from_deg,
    )


@measures_in_space("alpha_angle.radial")
def radial_alpha(
    hip: HipInSpace, *, hours: Floats, departure_mm: float, reaches_mm: float, from_deg: float
) -> Floats:
    """Alpha angle in planes that hold the neck axis, degrees, (..., hours)."""
    femur = femur_of(hip)
    over = at_hours(over_sphere_mm(femur), femur.hours, hours, -2)
    return onset_deg(
        over,
        femur.angles_deg,
        departure_mm=departure_mm,
        reaches_mm=reaches_mm,
        from_deg=from_deg,
    )


@measures_in_space("alpha_angle.radial.maximum")
def largest_alpha(
    hip: HipInSpace, *, departure_mm: float, reaches_mm: float, from_deg: float
) -> Floats:
    """Largest alpha angle of all hours, degrees."""
    alphas = _by_hour(
        femur_of(hip), departure_mm=departure_mm, reaches_mm=reaches_mm, from_deg=from_deg
    )
    most = np.where(np.isfinite(alphas), alphas, -np.inf).max(axis=-1)
    return np.where(np.isfinite(most), most, np.nan)


@measures_in_space("alpha_angle.radial.maximum_hour")
def hour_of_largest_alpha(
    hip: HipInSpace,
    *,
    departure_mm: float,
    reaches_mm: float,
    from_deg: float,
    prominent_deg: float,
) -> Floats:
    """Hour of the largest alpha angle; NaN where it is the same all around.

    Draws are told within six hours of the surveyed one, so that 12.2 and 11.9 lie close.
    """
    femur = femur_of(hip)
    alphas = _by_hour(femur, departure_mm=departure_mm, reaches_mm=reaches_mm, from_deg=from_deg)
    there = np.where(np.isfinite(alphas), alphas, -np.inf)
    at = femur.hours[there.argmax(axis=-1)]
    typical = np.nanmedian(np.where(np.isfinite(alphas), alphas, 0.0), axis=-1)
    at = np.where(there.max(axis=-1) - typical >= prominent_deg, at, np.nan)
    first = np.where(at == 0.0, HOURS_ROUND, at)
    if not first.ndim:
        return np.asarray(first)
    base = first[:1]
    half = HOURS_ROUND / 2.0
    near = base + (first - base + half) % HOURS_ROUND - half
    return np.where(np.isfinite(base), near, first)


@measures_in_space("cam_extent.at_55", "cam_extent.at_60")
def cam_extent(
    hip: HipInSpace, *, alpha_deg: float, departure_mm: float, reaches_mm: float, from_deg: float
) -> Floats:
    """How far around the neck alpha exceeds a value, degrees of the full turn."""
    alphas = _by_hour(
        femur_of(hip), departure_mm=departure_mm, reaches_mm=reaches_mm, from_deg=from_deg
    )
    known = np.isfinite(alphas).mean(axis=-1) >= FEWEST_HOURS
    over = np.where(np.isfinite(alphas), alphas - alpha_deg, -1.0)
    beside = np.roll(over, -1, axis=-1)
    high, low = np.maximum(over, beside), np.minimum(over, beside)
    share = np.clip(high / np.where(high > low, high - low, 1.0), 0.0, 1.0)
    share = np.where(low > 0, 1.0, np.where(high > 0, share, 0.0))
    return np.where(known, cast("Floats", share.mean(axis=-1)) * FULL_TURN_DEG, np.nan)
