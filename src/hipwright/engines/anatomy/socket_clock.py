"""Directions about a socket: the angle from its inward pole, and the hour about its opening.

Arrays may have leading axes; ``opening`` is (..., 3), of unit length. 12 o'clock is as
superior as the opening allows, 3 o'clock anterior.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RAD_PER_HOUR = np.pi / 6
HOURS = 12.0
_UP = np.array([0.0, 0.0, 1.0])


def unit(vectors: Floats) -> Floats:
    """The same directions with length 1; NaN where there is none."""
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def clock_axes(opening: Floats) -> tuple[Floats, Floats]:
    """Unit directions of 12 and of 3 o'clock, (..., 3) each."""
    twelve = unit(_UP - opening[..., 2:] * opening)
    return twelve, np.asarray(np.cross(twelve, opening))


def directions(opening: Floats, angle_rad: Floats, hours: Floats) -> Floats:
    """Unit vectors at angles from the inward pole and hours, (..., 3).

    Parameters
    ----------
    opening
        One direction, (3,).
    angle_rad, hours
        Broadcast against each other.
    """
    twelve, three = clock_axes(opening)
    angle, turn = np.broadcast_arrays(angle_rad, np.asarray(hours) * RAD_PER_HOUR)
    ring = np.cos(turn)[..., None] * twelve + np.sin(turn)[..., None] * three
    return -np.cos(angle)[..., None] * opening + np.sin(angle)[..., None] * ring


def polar(places: Floats, center: Floats, opening: Floats) -> tuple[Floats, Floats, Floats]:
    """Distance (mm), angle from the inward pole (rad) and hour in [0, 12) of places.

    Parameters
    ----------
    places
        Shape (..., n, 3).
    center, opening
        Shape (..., 3).
    """
    away = places - center[..., None, :]
    distance = np.linalg.norm(away, axis=-1)
    along = np.einsum("...nk,...k->...n", away, opening)
    twelve, three = clock_axes(opening)
    up = np.einsum("...nk,...k->...n", away, twelve)
    front = np.einsum("...nk,...k->...n", away, three)
    angle = np.arctan2(np.hypot(up, front), -along)
    hours = (np.arctan2(front, up) / RAD_PER_HOUR) % HOURS
    return distance, angle, hours
