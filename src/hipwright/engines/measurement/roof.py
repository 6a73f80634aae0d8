"""The slope of the roof, of the socket's opening, and of the roof against the growth plate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import measures
from hipwright.engines.measurement.shapes import rise_deg

Floats = NDArray[np.float64]


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


@measures("fear_index")
def fear_index(
    sourcil_medial: Floats, sourcil_lateral: Floats, scar_medial: Floats, scar_lateral: Floats
) -> Floats:
    """Femoro-epiphyseal acetabular roof (FEAR) index: roof against growth-plate scar.

    The rise of the sourcil less the rise of the straight middle third of the
    scar, both from medial to lateral. Positive when the lines open laterally.

    Parameters
    ----------
    sourcil_medial, sourcil_lateral
        Ends of the dense, weight-bearing line, (..., 2).
    scar_medial, scar_lateral
        Ends of the straight middle third of the scar, (..., 2).

    Returns
    -------
    Degrees, NaN where one of the lines does not run laterally.

    Notes
    -----
    The pelvic baseline drops out of the difference; 1° of adduction of the hip
    raises the index by 1° (reference check T3). Cut published by Wyatt 2017.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> print(fear_index(at(-10, 22), at(10, 22), at(-8, 4), at(8, 8.287)))
    -15.0°
    """
    return rise_deg(sourcil_medial, sourcil_lateral) - rise_deg(scar_medial, scar_lateral)
