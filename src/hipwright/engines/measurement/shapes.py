"""Directions that several constructions share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.polylines import cross

Floats = NDArray[np.float64]


def unit(direction: Floats) -> Floats:
    """A direction of length one, NaN where it has none, (..., 2)."""
    length = np.hypot(direction[..., 0], direction[..., 1])
    with np.errstate(invalid="ignore", divide="ignore"):
        return direction / length[..., None]


def middle(first: Floats, second: Floats) -> Floats:
    """Half-way between two points, (..., 2)."""
    return (first + second) / 2


def perpendicular_toward(direction: Floats, target: Floats) -> Floats:
    """The unit perpendicular of a unit direction on the side to which ``target`` points."""
    left = np.stack([-direction[..., 1], direction[..., 0]], axis=-1)
    side = np.sign((left * target).sum(axis=-1))
    return left * side[..., None]


def angle_between_deg(first: Floats, second: Floats) -> Floats:
    """Unsigned angle between two directions, (..., 2) and (..., 2) to (...)."""
    area = cross(first, second)
    dot = (first * second).sum(axis=-1)
    return np.where(np.hypot(area, dot) > 0, np.degrees(np.arctan2(np.abs(area), dot)), np.nan)


def degrees_from_up(arm: Floats) -> Floats:
    """Angle of an arm from straight up, positive toward +u, (..., 2) to (...)."""
    return np.degrees(np.arctan2(arm[..., 0], arm[..., 1]))


def rise_deg(medial: Floats, lateral: Floats) -> Floats:
    """Angle by which a line rises laterally, NaN where its ends are swapped, (..., 2) to (...)."""
    run = lateral - medial
    return np.where(run[..., 0] > 0, np.degrees(np.arctan2(run[..., 1], run[..., 0])), np.nan)
