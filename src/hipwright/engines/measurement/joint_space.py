"""Width of the joint space, along lines from the center of the head."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.polylines import PolarOutline, polar
from hipwright.engines.measurement.construction import measures

Floats = NDArray[np.float64]

SAMPLES = 91
"""Directions in which the smallest width is looked for: one about every degree."""


@measures("joint_space.apical")
def joint_space_at_apex(
    head_center: Floats, roof: Floats, head_outline: Floats, *, reach_deg: float
) -> Floats:
    """Joint space straight above the center of the head.

    Parameters
    ----------
    head_center
        Center of the circle of the round part of the head, (..., 2).
    roof
        Lower outline of the sourcil, (..., a, 2).
    head_outline
        Outline of the head below it, as it is and not as a circle, (..., b, 2).
    reach_deg
        How far beyond the end of a drawn outline its end still stands for it (catalog).

    Returns
    -------
    The unit of the plane, NaN where roof or head is not drawn in that direction.

    Examples
    --------
    >>> import numpy as np
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def arc(radius):
    ...     return FilmContour(points=tuple(
    ...         film_hip_point(lateral=radius * np.sin(t), superior=radius * np.cos(t))
    ...         for t in np.radians(np.arange(-30, 31, 10))))
    >>> center = film_hip_point(lateral=0, superior=0)
    >>> print(joint_space_at_apex(center, arc(28), arc(24)))
    4.0 mm
    """
    angle = np.zeros(head_center.shape[:-1])
    return _width_at(head_center, roof, head_outline, angle, reach_deg)


@measures("joint_space.lateral", "joint_space.medial")
def joint_space_toward(
    head_center: Floats, roof: Floats, head_outline: Floats, site: Floats, *, reach_deg: float
) -> Floats:
    """Joint space in the direction of an end of the sourcil.

    Parameters
    ----------
    head_center, roof, head_outline, reach_deg
        As for :data:`joint_space_at_apex`.
    site
        The lateral or the medial end of the sourcil, (..., 2).

    Returns
    -------
    The unit of the plane, NaN where roof or head is not drawn in that direction.

    Examples
    --------
    >>> import numpy as np
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def arc(radius):
    ...     return FilmContour(points=tuple(
    ...         film_hip_point(lateral=radius * np.sin(t), superior=radius * np.cos(t))
    ...         for t in np.radians(np.arange(-30, 31, 10))))
    >>> center, edge = (film_hip_point(lateral=x, superior=y) for x, y in ((0, 0), (15, 25)))
    >>> print(joint_space_toward(center, arc(28), arc(24), edge))
    4.0 mm
    """
    arm = site - head_center
    angle = np.arctan2(arm[..., 0], arm[..., 1])
    return _width_at(head_center, roof, head_outline, angle, reach_deg)


@measures("joint_space.minimum")
def joint_space_minimum(head_center: Floats, roof: Floats, head_outline: Floats) -> Floats:
    """Smallest joint space wherever roof and head are both drawn.

    Parameters
    ----------
    head_center, roof, head_outline
        As for :data:`joint_space_at_apex`.

    Returns
    -------
    The unit of the plane, NaN where the two are drawn in no common direction.

    Examples
    --------
    >>> import numpy as np
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def arc(radius, up):
    ...     return FilmContour(points=tuple(
    ...         film_hip_point(lateral=radius * np.sin(t), superior=up + radius * np.cos(t))
    ...         for t in np.radians(np.arange(-40, 41, 10))))
    >>> center = film_hip_point(lateral=0, superior=0)
    >>> print(joint_space_minimum(center, arc(26, 0), arc(23, 1)))
    2.0 mm
    """
    above, below = polar(roof, head_center), polar(head_outline, head_center)
    low, high = shared_directions(above, below)
    widths = _widths(above, below)[1]
    return np.where(high > low, widths.min(axis=-1), np.nan)


def narrowest_direction(head_center: Floats, roof: Floats, head_outline: Floats) -> Floats:
    """Where :data:`joint_space_minimum` finds the smallest width.

    Returns
    -------
    Angle from straight up, positive laterally, radians, shape (...).
    """
    angles, widths = _widths(polar(roof, head_center), polar(head_outline, head_center))
    narrowest = widths.argmin(axis=-1)[..., None]
    return np.take_along_axis(angles, narrowest, axis=-1)[..., 0]


def _widths(above: PolarOutline, below: PolarOutline) -> tuple[Floats, Floats]:
    """Directions in which both are drawn, and the widths there, (..., SAMPLES) each."""
    low, high = shared_directions(above, below)
    share = np.linspace(0, 1, SAMPLES)
    angles = low[..., None] + share * (high - low)[..., None]
    return angles, above.at(angles) - below.at(angles)


def _width_at(
    head_center: Floats, roof: Floats, head_outline: Floats, angle: Floats, reach_deg: float
) -> Floats:
    above, below = polar(roof, head_center), polar(head_outline, head_center)
    low, high = shared_directions(above, below)
    drawn = np.clip(angle, low, high)
    width = (above.at(drawn[..., None]) - below.at(drawn[..., None]))[..., 0]
    within = (high > low) & (np.abs(angle - drawn) <= np.radians(reach_deg))
    return np.where(within, width, np.nan)


def shared_directions(above: PolarOutline, below: PolarOutline) -> tuple[Floats, Floats]:
    """From where to where both outlines are drawn, as angles from straight up, (...)."""
    return np.maximum(above.low, below.low), np.minimum(above.high, below.high)
