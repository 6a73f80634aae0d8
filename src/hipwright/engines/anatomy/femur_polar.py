"""The clock around the neck: directions from the head's center by angle and hour.

An angle of 0° points down the neck, as alpha is counted; 12 o'clock is up the shaft,
3 o'clock anterior. Places are in axes in which X is lateral, Y anterior and Z superior.
"""

from __future__ import annotations

from typing import cast

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RADIANS_PER_HOUR = np.pi / 6.0


def clock_up(axis: Floats, upward: Floats) -> Floats:
    """Twelve o'clock around an axis: a direction made square to it, (..., 3).

    Parameters
    ----------
    axis
        Unit direction, (..., 3).
    upward
        Where up is, (..., 3), not along the axis.
    """
    square = upward - (upward * axis).sum(axis=-1, keepdims=True) * axis
    return cast("Floats", square / np.linalg.norm(square, axis=-1, keepdims=True))


def clock_front(axis: Floats, up: Floats) -> Floats:
    """Three o'clock around an axis, (..., 3)."""
    return np.cross(up, axis)


def around(axis: Floats, up: Floats, hours: Floats) -> Floats:
    """Unit directions square to an axis by hour, (..., h, 3)."""
    turn = hours * RADIANS_PER_HOUR
    front = clock_front(axis, up)
    return np.cos(turn)[:, None] * up[..., None, :] + np.sin(turn)[:, None] * front[..., None, :]


def polar_directions(axis: Floats, up: Floats, hours: Floats, angles_deg: Floats) -> Floats:
    """Unit directions by hour and angle, (..., h, a, 3)."""
    ring = around(axis, up, hours)[..., :, None, :]
    angle = np.radians(angles_deg)[:, None]
    return np.cos(angle) * axis[..., None, None, :] + np.sin(angle) * ring
