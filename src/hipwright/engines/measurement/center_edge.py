"""Center-edge angles: how far the roof reaches beyond the center of the head."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import measures
from hipwright.engines.measurement.shapes import degrees_from_up

Floats = NDArray[np.float64]


def _center_edge_deg(head_center: Floats, edge: Floats) -> Floats:
    arm = edge - head_center
    return np.where(arm[..., 1] > 0, degrees_from_up(arm), np.nan)


@measures("lateral_center_edge_angle.sourcil")
def lateral_center_edge_angle(head_center: Floats, sourcil_edge: Floats) -> Floats:
    """Lateral center-edge angle (LCEA), to the lateral end of the sourcil.

    On a leveled AP film, the angle at the center of the femoral head between
    straight up and the line to the lateral end of the sourcil. Positive when
    the sourcil ends lateral to the center, negative when the head is so
    uncovered that it ends medial to it.

    Parameters
    ----------
    head_center
        Center of the circle fitted to the round part of the head, (..., 2).
    sourcil_edge
        Lateral end of the dense, weight-bearing roof, (..., 2). The lateral
        *bony rim* is another landmark and another definition:
        ``lateral_center_edge_angle.rim``.

    Returns
    -------
    Degrees within (−90, 90), NaN where the edge is not above the center.

    Notes
    -----
    Accuracy: exact to rounding on the analytic hips
    (``tests/golden/test_analytic_hips.py``). In the clinic the error is the
    landmarks': 1 mm across a 25 mm arm is 2.3°. Defined by Wiberg 1939; how far
    the two edge landmarks differ is shown by Hanson 2015.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> center = film_hip_point(lateral=0, superior=0)
    >>> edge = film_hip_point(lateral=12.5, superior=21.65)
    >>> print(lateral_center_edge_angle(center, edge))
    30.0°
    """
    return _center_edge_deg(head_center, sourcil_edge)


@measures("lateral_center_edge_angle.rim")
def lateral_center_edge_angle_to_rim(head_center: Floats, rim: Floats) -> Floats:
    """Lateral center-edge angle to the most lateral point of the bony rim.

    As :data:`lateral_center_edge_angle`, with the rim in place of the sourcil's
    end; an ossicle or an ossified labrum does not count as rim.

    Parameters
    ----------
    head_center
        Center of the circle fitted to the round part of the head, (..., 2).
    rim
        Most lateral point of the bony roof, (..., 2).

    Returns
    -------
    Degrees within (−90, 90), NaN where the rim is not above the center.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> center = film_hip_point(lateral=0, superior=0)
    >>> print(lateral_center_edge_angle_to_rim(center, film_hip_point(lateral=-4, superior=20)))
    -11.3°
    """
    return _center_edge_deg(head_center, rim)


@measures("lateral_center_edge_angle.with_ossicle")
def lateral_center_edge_angle_with_ossicle(head_center: Floats, ossicle: Floats) -> Floats:
    """Lateral center-edge angle to the edge of an ossicle or of ossified labrum.

    Beside :data:`lateral_center_edge_angle_to_rim` it tells what the head would
    lose with the ossicle.

    Parameters
    ----------
    head_center
        Center of the circle fitted to the round part of the head, (..., 2).
    ossicle
        Most lateral point of the ossicle, (..., 2).

    Returns
    -------
    Degrees within (−90, 90), NaN where the edge is not above the center.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> center = film_hip_point(lateral=0, superior=0)
    >>> edge = film_hip_point(lateral=20, superior=20)
    >>> print(lateral_center_edge_angle_with_ossicle(center, edge))
    45.0°
    """
    return _center_edge_deg(head_center, ossicle)


@measures("anterior_center_edge_angle.sourcil")
def anterior_center_edge_angle(head_center: Floats, sourcil_edge: Floats) -> Floats:
    """Anterior center-edge angle (ACEA) on the false profile, to the anterior end of the sourcil.

    At the center of the head, the angle between straight up on the picture and
    the line to the anterior end of the sourcil; u is anterior on this view.

    Parameters
    ----------
    head_center
        Center of the circle fitted to the round part of the head, (..., 2).
    sourcil_edge
        Anterior end of the dense, weight-bearing roof, (..., 2).

    Returns
    -------
    Degrees within (−90, 90), NaN where the edge is not above the center.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> center = film_hip_point(lateral=0, superior=0)
    >>> print(anterior_center_edge_angle(center, film_hip_point(lateral=12.5, superior=21.65)))
    30.0°
    """
    return _center_edge_deg(head_center, sourcil_edge)


@measures("anterior_center_edge_angle.rim")
def anterior_center_edge_angle_to_rim(head_center: Floats, rim: Floats) -> Floats:
    """Anterior center-edge angle on the false profile, to the most anterior point of the rim.

    Another landmark than the sourcil's end, 10° more on average (Hanson 2015).

    Parameters
    ----------
    head_center
        Center of the circle fitted to the round part of the head, (..., 2).
    rim
        Most anterior point of the bony roof, (..., 2).

    Returns
    -------
    Degrees within (−90, 90), NaN where the rim is not above the center.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> center = film_hip_point(lateral=0, superior=0)
    >>> print(anterior_center_edge_angle_to_rim(center, film_hip_point(lateral=20, superior=20)))
    45.0°
    """
    return _center_edge_deg(head_center, rim)
