"""Neck and shaft of the femur."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import measures
from hipwright.engines.measurement.shapes import angle_between_deg, middle

Floats = NDArray[np.float64]


@measures("neck_shaft_angle")
def neck_shaft_angle(
    head_center: Floats,
    neck_superior: Floats,
    neck_inferior: Floats,
    shaft_proximal: Floats,
    shaft_distal: Floats,
) -> Floats:
    """Neck–shaft angle, as projected on the film.

    Between the line from the middle of the narrowest neck to the head center
    and the shaft axis, running down.

    Parameters
    ----------
    head_center, neck_superior, neck_inferior
        As for the alpha angle, (..., 2).
    shaft_proximal, shaft_distal
        Two points on the middle of the shaft, (..., 2).

    Returns
    -------
    Degrees in [0, 180], NaN where the ends of an axis coincide.

    Notes
    -----
    The projection exaggerates the true angle when the neck points forward:
    ``90 + atan2(−cos κ, sin κ · cos ν)`` for a true angle κ and version ν
    (reference check T12, computed).

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> print(neck_shaft_angle(at(0, 0), at(30, -10), at(10, -30), at(40, -60), at(40, -160)))
    135.0°
    """
    neck = middle(neck_superior, neck_inferior)
    return angle_between_deg(head_center - neck, shaft_distal - shaft_proximal)


@measures("femoral_shaft_adduction")
def femoral_shaft_adduction(shaft_proximal: Floats, shaft_distal: Floats) -> Floats:
    """Adduction of the shaft: how far it runs medially on its way down.

    Parameters
    ----------
    shaft_proximal, shaft_distal
        Two points on the middle of the shaft, (..., 2), leveled.

    Returns
    -------
    Degrees within (−90, 90), NaN where the lower point is not below the upper one.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> top = film_hip_point(lateral=40, superior=-60)
    >>> print(femoral_shaft_adduction(top, film_hip_point(lateral=31.25, superior=-160)))
    5.0°
    """
    run = shaft_distal - shaft_proximal
    down = -run[..., 1]
    return np.where(down > 0, np.degrees(np.arctan2(-run[..., 0], down)), np.nan)
