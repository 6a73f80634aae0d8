"""The head of a femur in space: its size, its roundness, and the bone that stands out of it."""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_draws import fit_weights
from hipwright.engines.anatomy.femur_head import ARTICULATES_FROM_DEG
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_construction import measures_in_space
from hipwright.engines.measurement.space_femur_access import femur_of
from hipwright.engines.measurement.space_femur_maps import bump_mm, over_sphere_mm

Floats = NDArray[np.float64]


@measures_in_space("head_radius")
def head_radius(hip: HipInSpace) -> Floats:
    """Radius of the sphere of the head, mm."""
    return np.asarray(femur_of(hip).head_radius_mm)


@measures_in_space("head_sphericity.rms")
def head_sphericity(hip: HipInSpace) -> Floats:
    """Root-mean-square distance from the sphere of what the robust fit kept of the head, mm."""
    femur = femur_of(hip)
    kept = fit_weights(femur) > 0
    area = np.sin(np.radians(femur.angles_deg)) * kept
    square = np.where(kept, over_sphere_mm(femur), 0.0) ** 2
    return cast("Floats", np.sqrt((area * square).sum(axis=(-2, -1)) / area.sum(axis=(-2, -1))))


@measures_in_space("head_residual.maximum")
def largest_residual(hip: HipInSpace) -> Floats:
    """How far the articulating part of the head stands out of its sphere at most, mm."""
    femur = femur_of(hip)
    over = over_sphere_mm(femur)[..., femur.angles_deg >= ARTICULATES_FROM_DEG]
    most = np.where(np.isfinite(over), over, -np.inf).max(axis=(-2, -1))
    return np.where(np.isfinite(most), most, np.nan)


@measures_in_space("cam_height")
def cam_height(
    hip: HipInSpace,
    *,
    departure_mm: float,
    reaches_mm: float,
    from_deg: float,
    neck_from_deg: float,
) -> Floats:
    """Greatest height of a bump of the junction over the sphere, mm; 0 where there is none."""
    heights = bump_mm(
        femur_of(hip),
        departure_mm=departure_mm,
        reaches_mm=reaches_mm,
        from_deg=from_deg,
        neck_from_deg=neck_from_deg,
    )
    return cast("Floats", heights.max(axis=(-2, -1)))


@measures_in_space("cam_volume")
def cam_volume(
    hip: HipInSpace,
    *,
    departure_mm: float,
    reaches_mm: float,
    from_deg: float,
    neck_from_deg: float,
) -> Floats:
    """Volume of the bump of the junction over the sphere, mm³."""
    femur = femur_of(hip)
    heights = bump_mm(
        femur,
        departure_mm=departure_mm,
        reaches_mm=reaches_mm,
        from_deg=from_deg,
        neck_from_deg=neck_from_deg,
    )
    radius = np.asarray(femur.head_radius_mm)[..., None, None]
    shell = ((radius + heights) ** 3 - radius**3) / 3.0
    turn = np.radians(30.0 * (femur.hours[1] - femur.hours[0]))
    step = np.radians(femur.angles_deg[1] - femur.angles_deg[0])
    ring = np.sin(np.radians(femur.angles_deg)) * step * turn
    return cast("Floats", (shell * ring).sum(axis=(-2, -1)))
