"""Alpha angles: where the head stops being round."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import measures

Floats = NDArray[np.float64]


def angle_between_deg(first: Floats, second: Floats) -> Floats:
    """Unsigned angle between two directions, (..., 2) and (..., 2) to (...)."""
    cross = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    dot = (first * second).sum(axis=-1)
    length = np.hypot(cross, dot)
    return np.where(length > 0, np.degrees(np.arctan2(np.abs(cross), dot)), np.nan)


@measures("alpha_angle.three_point")
def alpha_angle_three_point(
    head_center: Floats, neck_superior: Floats, neck_inferior: Floats, onset: Floats
) -> Floats:
    """Alpha angle, onset marked by the reader, axis from the head center to the neck's middle.

    Parameters
    ----------
    head_center
        Center of the circle of the round part of the head, (..., 2).
    neck_superior, neck_inferior
        The two outlines of the neck at its narrowest place, (..., 2).
    onset
        First point at which the outline leaves the circle, as marked, (..., 2).

    Returns
    -------
    Degrees in [0, 180], NaN where the neck's middle or the onset is at the center.

    Notes
    -----
    On an ideal head of radius R on a neck of half-width r whose axis passes the
    center at a distance d away from the tested side, with L from center to neck:
    ``asin((r − d)/R) + atan(d/L)`` (reference checks T5 and T8, computed).
    """
    neck = (neck_superior + neck_inferior) / 2
    return angle_between_deg(neck - head_center, onset - head_center)
