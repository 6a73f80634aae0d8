"""Getting at the bones of a surveyed hip; a measurement whose bone is absent is not asked."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.hip_in_space import HipInSpace

Floats = NDArray[np.float64]


def femur_of(hip: HipInSpace) -> FemurInSpace:
    """The femur of a hip.

    Raises
    ------
    DegenerateGeometryError
        It was not surveyed.
    """
    if hip.femur is None:
        raise DegenerateGeometryError(
            "cannot measure the femur",
            found="no survey of it",
            needed="a bone model of the femur",
            next_step="Make the bone models, or import one.",
        )
    return hip.femur


def dot(one: Floats, two: Floats) -> Floats:
    """Scalar product along the last axis."""
    return np.einsum("...i,...i->...", one, two)


def unit(vector: Floats) -> Floats:
    """Of length one, along the last axis."""
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def square_part(vector: Floats, axis: Floats) -> Floats:
    """What of a vector is square to a unit axis."""
    return vector - dot(vector, axis)[..., None] * axis


def between_deg(one: Floats, two: Floats) -> Floats:
    """Angle between two directions, degrees."""
    return np.degrees(np.arccos(np.clip(dot(unit(one), unit(two)), -1.0, 1.0)))
