"""The slope of the roof and of the socket's opening."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import measures

Floats = NDArray[np.float64]


def rise_deg(medial: Floats, lateral: Floats) -> Floats:
    """Angle by which a line rises laterally, NaN where its ends are swapped, (..., 2) to (...)."""
    run = lateral - medial
    return np.where(run[..., 0] > 0, np.degrees(np.arctan2(run[..., 1], run[..., 0])), np.nan)


@measures("roof_angle.tonnis")
def roof_angle(sourcil_medial: Floats, sourcil_lateral: Floats) -> Floats:
    """Roof angle of Tönnis: slope of the sourcil.

    On a leveled AP film, the angle between the horizontal and the line from
    the medial to the lateral end of the sourcil. Positive when the roof rises
    laterally.

    Parameters
    ----------
    sourcil_medial, sourcil_lateral
        Ends of the dense, weight-bearing line, (..., 2).

    Returns
    -------
    Degrees, NaN where the lateral end is not lateral to the medial one.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> medial = film_hip_point(lateral=-10, superior=22)
    >>> print(roof_angle(medial, film_hip_point(lateral=10, superior=24)))
    5.7°
    """
    return rise_deg(sourcil_medial, sourcil_lateral)


@measures("sharp_angle")
def sharp_angle(teardrop: Floats, rim: Floats) -> Floats:
    """Sharp angle: slope of the socket's opening.

    On a leveled AP film, the angle between the horizontal and the line from
    the lower tip of the teardrop to the lateral rim.

    Parameters
    ----------
    teardrop
        Lower tip of the teardrop, (..., 2).
    rim
        Most lateral point of the bony roof, (..., 2).

    Returns
    -------
    Degrees, NaN where the rim is not lateral to the teardrop.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> drop = film_hip_point(lateral=0, superior=0)
    >>> print(sharp_angle(drop, film_hip_point(lateral=60, superior=50)))
    39.8°
    """
    return rise_deg(teardrop, rim)
