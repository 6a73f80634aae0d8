"""How far the head stands out over the neck."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.polylines import along_line
from hipwright.engines.measurement.construction import Circles, measures
from hipwright.engines.measurement.shapes import middle, perpendicular_toward, unit

Floats = NDArray[np.float64]


@measures("head_neck_offset")
def head_neck_offset(
    head: Circles,
    neck_superior: Floats,
    neck_inferior: Floats,
    base_superior: Floats,
    base_inferior: Floats,
) -> Floats:
    """Head–neck offset on the upper (on laterals: anterior) side.

    Between two parallels to the neck's own axis: one touches the head, the
    other runs through the outline of the narrowest neck.

    Parameters
    ----------
    head
        Circle of the round part of the head.
    neck_superior, neck_inferior
        The two outlines of the neck at its narrowest place, (..., 2).
    base_superior, base_inferior
        The two outlines of the neck nearer to the trochanters, (..., 2).

    Returns
    -------
    The unit of the plane; NaN where the two middles of the neck coincide.

    Notes
    -----
    On an ideal head ``R − (r − d)``, which is ``R·(1 − sin α)`` for the alpha angle by the
    same axis (reference checks T6 and T7, computed).

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> head = FilmCircle(center=at(0, 0), radius=24)
    >>> print(head_neck_offset(head, at(30, 16), at(30, -16), at(45, 17), at(45, -17)))
    8.0 mm
    """
    neck = middle(neck_superior, neck_inferior)
    axis = unit(middle(base_superior, base_inferior) - neck)
    side = perpendicular_toward(axis, neck_superior - neck)
    return head.radius - ((neck_superior - head.center) * side).sum(axis=-1)


@measures("head_neck_offset_ratio")
def head_neck_offset_ratio(
    head: Circles,
    neck_superior: Floats,
    neck_inferior: Floats,
    base_superior: Floats,
    base_inferior: Floats,
) -> Floats:
    """Head–neck offset over the diameter of the head.

    Parameters
    ----------
    head, neck_superior, neck_inferior, base_superior, base_inferior
        As for :data:`head_neck_offset`.

    Returns
    -------
    A ratio; NaN where the two middles of the neck coincide.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> head = FilmCircle(center=at(0, 0), radius=24)
    >>> neck, base = (at(30, 16), at(30, -16)), (at(45, 17), at(45, -17))
    >>> print(f"{head_neck_offset_ratio(head, *neck, *base):.3f}")
    0.167
    """
    offset = head_neck_offset.kernel(
        head, neck_superior, neck_inferior, base_superior, base_inferior
    )
    return offset / (2 * head.radius)


@measures("triangular_index")
def triangular_index(
    head: Circles, neck_superior: Floats, neck_inferior: Floats, outline: Floats
) -> Floats:
    """Triangular index: how far the outline is outside the head half a radius down the neck.

    At half a radius from the head center toward the middle of the narrowest
    neck, the perpendicular to the outline has the height H; the index is
    ``√((R/2)² + H²) − R``.

    Parameters
    ----------
    head
        Circle of the round part of the head.
    neck_superior, neck_inferior
        The two outlines of the neck at its narrowest place, (..., 2).
    outline
        From the top of the head to the narrowest neck, (..., m, 2).

    Returns
    -------
    The unit of the plane; 0 on a round head, NaN where the outline is not drawn there.

    Notes
    -----
    Reference check T9 (computed). Defined by Gosvig 2007, there as √(...) against R + 2 mm on
    a film that enlarges 1.2 times.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> head = FilmCircle(center=at(0, 0), radius=24)
    >>> outline = FilmContour(points=(at(0, 24), at(12, 23.065), at(30, 16)))
    >>> print(triangular_index(head, at(30, 16), at(30, -16), outline))
    2.0 mm
    """
    neck = middle(neck_superior, neck_inferior)
    axis = unit(neck - head.center)
    half = np.asarray(head.radius)[..., None] / 2
    foot = head.center + half * axis
    side = perpendicular_toward(axis, neck_superior - neck)
    height = along_line(outline, foot, side, forward=True)
    return np.hypot(head.radius / 2, height) - head.radius
