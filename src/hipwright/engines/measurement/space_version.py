"""Version of a femur by its published constructions, torsion of the tibia, and their sums."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_in_space import VERSION_POINTS, FemurInSpace
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_acetabulum import equatorial_version
from hipwright.engines.measurement.space_construction import measures_in_space
from hipwright.engines.measurement.space_femur_access import (
    between_deg,
    dot,
    femur_of,
    square_part,
    unit,
)

Floats = NDArray[np.float64]


def condylar_axes(femur: FemurInSpace) -> tuple[Floats, Floats, Floats]:
    """Lateral along the backs of the condyles, anterior square to them, up the long axis."""
    up = femur.long_axis
    backs = femur.posterior_condyles
    lateral = unit(square_part(backs[..., 1, :] - backs[..., 0, :], up))
    return lateral, np.cross(up, lateral), up


def version_deg(femur: FemurInSpace, distal: Floats) -> Floats:
    """Version of the line from a distal place of the neck to the head's center, degrees."""
    lateral, anterior, _ = condylar_axes(femur)
    toward_head = femur.head_center - distal
    return np.degrees(np.arctan2(dot(toward_head, anterior), -dot(toward_head, lateral)))


def _by(femur: FemurInSpace, construction: str) -> Floats:
    return version_deg(femur, femur.version_points[..., VERSION_POINTS.index(construction), :])


@measures_in_space("femoral_version.lee")
def version_lee(hip: HipInSpace) -> Floats:
    """Version to the neck's middle where it first joins the trochanter, degrees."""
    return _by(femur_of(hip), "lee")


@measures_in_space("femoral_version.reikeras")
def version_reikeras(hip: HipInSpace) -> Floats:
    """Version to the neck's middle where its cortices are parallel, degrees."""
    return _by(femur_of(hip), "reikeras")


@measures_in_space("femoral_version.tomczak")
def version_tomczak(hip: HipInSpace) -> Floats:
    """Version to the base of the greater trochanter, degrees."""
    return _by(femur_of(hip), "tomczak")


@measures_in_space("femoral_version.murphy")
def version_murphy(hip: HipInSpace) -> Floats:
    """Version to the shaft's center above the lesser trochanter, degrees."""
    return _by(femur_of(hip), "murphy")


@measures_in_space("femoral_version.neck_axis")
def version_of_neck_axis(hip: HipInSpace) -> Floats:
    """Version of the neck axis by the sphere of 1.40 radii, degrees."""
    femur = femur_of(hip)
    return version_deg(femur, femur.head_center + femur.neck_axis)


@measures_in_space("femoral_version.oblique_slice")
def version_in_oblique_slice(hip: HipInSpace) -> Floats:
    """Rise of the neck axis over the table on which condyles and shaft lie, degrees."""
    femur = femur_of(hip)
    _, anterior, _ = condylar_axes(femur)
    return 90.0 - between_deg(-femur.neck_axis, anterior)


@measures_in_space("combined_version.murphy")
def combined_version(hip: HipInSpace) -> Floats:
    """Femoral version by Murphy and acetabular version at the equator together, degrees."""
    return version_murphy(hip) + equatorial_version(hip)


@measures_in_space("tibial_torsion")
def tibial_torsion(hip: HipInSpace) -> Floats:
    """Turn of the line of the malleoli against the back of the tibial plateau, degrees."""
    femur = femur_of(hip)
    plateau, malleoli = femur.tibial_condyles, femur.malleoli
    up = unit(plateau.mean(axis=-2) - malleoli.mean(axis=-2))
    lateral = unit(square_part(plateau[..., 1, :] - plateau[..., 0, :], up))
    anterior = np.cross(up, lateral)
    ankle = malleoli[..., 1, :] - malleoli[..., 0, :]
    return np.degrees(np.arctan2(-dot(ankle, anterior), dot(ankle, lateral)))
