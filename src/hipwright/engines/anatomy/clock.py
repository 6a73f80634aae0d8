"""The clock face of the socket: 12 above, 3 in front, 6 below, 9 behind, for either hip."""

from __future__ import annotations

import math

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.quantities import Angle

HOURS = 12
DEGREES_PER_HOUR = 30.0


def hour_from_angle(toward_anterior: Angle) -> float:
    """Clock hour of an angle that runs from 12 o'clock toward the front, in (0, 12].

    Examples
    --------
    >>> hour_from_angle(Angle.from_degrees(90))
    3.0
    """
    return _named((toward_anterior.degrees / DEGREES_PER_HOUR) % HOURS)


def angle_from_hour(hour: float) -> Angle:
    """Angle from 12 o'clock toward the front, in [0°, 360°).

    Raises
    ------
    DegenerateGeometryError
        The hour is not on the clock.

    Examples
    --------
    >>> print(angle_from_hour(1.5))
    45.0°
    """
    return Angle.from_degrees((_checked(hour) % HOURS) * DEGREES_PER_HOUR)


def hour_from_true_clock_of_left_hip(hour: float) -> float:
    """Turn a left hip's hour of a real clock (9 in front) into ours (3 in front).

    Some papers read left hips, seen from the side, like a real clock. The same
    reflection turns ours back into theirs.

    Raises
    ------
    DegenerateGeometryError
        The hour is not on the clock.

    Examples
    --------
    >>> hour_from_true_clock_of_left_hip(9)
    3.0
    """
    return _named((HOURS - _checked(hour)) % HOURS)


def _named(hour: float) -> float:
    """Twelve, not zero."""
    return float(hour) if hour else float(HOURS)


def _checked(hour: float) -> float:
    if not (math.isfinite(hour) and 0 <= hour <= HOURS):
        raise DegenerateGeometryError(
            "cannot read a clock hour",
            found=f"{hour}",
            needed="0 to 12",
            next_step="Give the hour with 12 above and 3 in front.",
            field="hour",
        )
    return hour
