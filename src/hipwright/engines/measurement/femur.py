"""Neck and shaft of the femur."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.alpha import angle_between_deg
from hipwright.engines.measurement.construction import measures

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
    Degrees in [0, 180].

    Notes
    -----
    The projection exaggerates the true angle when the neck points forward:
    ``90 + atan2(−cos κ, sin κ · cos ν)`` for a true angle κ and version ν
    (reference check T12, computed).
    """
    neck = (neck_superior + neck_inferior) / 2
    return angle_between_deg(head_center - neck, shaft_distal - shaft_proximal)
