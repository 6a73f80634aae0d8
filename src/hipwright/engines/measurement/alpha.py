"""Alpha angles: where the head stops being round."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.measurement.construction import Circles, measures
from hipwright.engines.measurement.shapes import angle_between_deg, middle

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.intp]


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
    ``asin((r − d)/R) + atan(d/L)`` (reference checks T5 and T8, computed). Defined by
    Nötzli 2002.

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> print(alpha_angle_three_point(at(0, 0), at(30, 16), at(30, -16), at(17.9, 16)))
    41.8°
    """
    return angle_between_deg(
        middle(neck_superior, neck_inferior) - head_center, onset - head_center
    )


@measures("alpha_angle.anatomic")
def alpha_angle_anatomic(
    head_center: Floats,
    neck_superior: Floats,
    neck_inferior: Floats,
    base_superior: Floats,
    base_inferior: Floats,
    onset: Floats,
) -> Floats:
    """Alpha angle, onset marked by the reader, along the neck's own axis.

    As :data:`alpha_angle_three_point`, with the direction from the middle of the
    narrowest neck to the middle of its base in place of the line through the head
    center, which that axis may miss.

    Parameters
    ----------
    head_center, neck_superior, neck_inferior, onset
        As there, (..., 2).
    base_superior, base_inferior
        The two outlines of the neck nearer to the trochanters, (..., 2).

    Returns
    -------
    Degrees in [0, 180], NaN where the two middles coincide or the onset is at the center.

    Notes
    -----
    On the ideal head of the other variant: ``asin((r − d)/R)`` (T8, computed).

    Examples
    --------
    >>> from hipwright.domain.frames import film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> neck, base = (at(30, 14), at(30, -18)), (at(45, 14), at(45, -18))
    >>> print(alpha_angle_anatomic(at(0, 0), *neck, *base, at(19.49, 14)))
    35.7°
    """
    axis = middle(base_superior, base_inferior) - middle(neck_superior, neck_inferior)
    return angle_between_deg(axis, onset - head_center)


@measures("alpha_angle.three_point.departure_half_mm", "alpha_angle.three_point.departure_two_mm")
def alpha_angle_at_departure(
    head: Circles,
    neck_superior: Floats,
    neck_inferior: Floats,
    outline: Floats,
    *,
    departure_mm: Floats | float,
    stays_mm: Floats | float,
) -> Floats:
    """Alpha angle where the drawn outline departs from the head's circle.

    Parameters
    ----------
    head
        Circle of the round part of the head.
    neck_superior, neck_inferior
        As for :data:`alpha_angle_three_point`, (..., 2).
    outline
        From the top of the head over the junction to the narrowest neck, (..., m, 2).
    departure_mm
        How far outside the circle counts as departed (catalog).
    stays_mm
        How long the outline must stay there (catalog).

    Returns
    -------
    Degrees in [0, 180], NaN where the outline never departs.

    Notes
    -----
    On an ideal head: ``asin((r − d)/(R + departure)) + atan(d/L)``: 40.77° and 37.98°
    for R 24, r 16, d 0 at 0.5 and 2 mm, where the marked onset is at 41.81° (computed).

    Examples
    --------
    >>> import numpy as np
    >>> from hipwright.domain.frames import FilmCircle, FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> round_part = [at(24 * np.cos(t), 24 * np.sin(t)) for t in np.radians([90, 75, 60, 45])]
    >>> outline = FilmContour(points=(*round_part, at(17.889, 16), at(30, 16)))
    >>> head = FilmCircle(center=at(0, 0), radius=24)
    >>> print(alpha_angle_at_departure(head, at(30, 16), at(30, -16), outline))
    40.8°
    """
    axis = middle(neck_superior, neck_inferior) - head.center
    onset = departure(head, axis, outline, departure_mm, stays_mm)
    return angle_between_deg(axis, onset - head.center)


@measures("alpha_angle.anatomic.departure_half_mm", "alpha_angle.anatomic.departure_two_mm")
def alpha_angle_anatomic_at_departure(
    head: Circles,
    neck_superior: Floats,
    neck_inferior: Floats,
    base_superior: Floats,
    base_inferior: Floats,
    outline: Floats,
    *,
    departure_mm: Floats | float,
    stays_mm: Floats | float,
) -> Floats:
    """Alpha angle where the drawn outline departs from the circle, along the neck's own axis.

    Parameters
    ----------
    head, neck_superior, neck_inferior, outline, departure_mm, stays_mm
        As for :data:`alpha_angle_at_departure`.
    base_superior, base_inferior
        As for :data:`alpha_angle_anatomic`, (..., 2).

    Returns
    -------
    Degrees in [0, 180], NaN where the outline never departs.

    Examples
    --------
    >>> import numpy as np
    >>> from hipwright.domain.frames import FilmCircle, FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> round_part = [at(24 * np.cos(t), 24 * np.sin(t)) for t in np.radians([90, 75, 60, 45])]
    >>> outline = FilmContour(points=(*round_part, at(17.889, 16), at(30, 16)))
    >>> head, neck = FilmCircle(center=at(0, 0), radius=24), (at(30, 16), at(30, -16))
    >>> base = (at(45, 17), at(45, -15))
    >>> print(alpha_angle_anatomic_at_departure(head, *neck, *base, outline))
    37.0°
    """
    axis = middle(base_superior, base_inferior) - middle(neck_superior, neck_inferior)
    onset = departure(head, axis, outline, departure_mm, stays_mm)
    return angle_between_deg(axis, onset - head.center)


def departure(
    head: Circles,
    axis: Floats,
    outline: Floats,
    departure_mm: Floats | float,
    stays_mm: Floats | float,
) -> Floats:
    """First place, coming from the head, where an outline is outside a wider circle and stays.

    Parameters
    ----------
    head
        The head's circle.
    axis
        Direction of the neck, (..., 2): tells which end of the outline is the head's.
    outline
        (..., m, 2), drawn either way.
    departure_mm, stays_mm
        How far outside, and for how long along the outline.

    Returns
    -------
    Array (..., 2), NaN where there is no such place. An outline that ends outside stays
    outside; one that begins outside has to come inside first.
    """
    arms = _from_the_head(outline - head.center[..., None, :], axis)
    limit = np.asarray(head.radius, dtype=np.float64) + departure_mm
    rows = arms.reshape(-1, *arms.shape[-2:])
    limits = np.broadcast_to(limit, arms.shape[:-2]).reshape(-1)
    found = np.full((len(rows), 2), np.nan)
    lasting = np.broadcast_to(stays_mm, arms.shape[:-2]).reshape(-1)
    row, place = _first_departures(rows, limits, lasting)
    found[row] = place
    return head.center + found.reshape(*arms.shape[:-2], 2)


def _from_the_head(arms: Floats, axis: Floats) -> Floats:
    """The outline so turned that it begins at the end farther from the neck's direction."""
    ends = [angle_between_deg(axis, arms[..., end, :]) for end in (0, -1)]
    return arms[..., ::-1, :] if np.nansum(ends[0] - ends[1]) < 0 else arms


def _first_departures(arms: Floats, limits: Floats, lasting: Floats) -> tuple[Ints, Floats]:
    """Rows that depart, and where: outlines (n, m, 2) from the center, circles and lengths (n,).

    Only segments that pass the circle are looked at: in each row they leave and return
    by turns, so the next one after a departure is its return.
    """
    outside = arms[..., 0] ** 2 + arms[..., 1] ** 2 > limits[:, None] ** 2
    row, segment = np.nonzero(outside[:, 1:] != outside[:, :-1])
    start = arms[row, segment]
    step = arms[row, segment + 1] - start
    leaves = outside[row, segment + 1]
    share = _share_at(start, step, limits[row], leaves)
    along = np.hypot(*np.diff(arms, axis=1).transpose(2, 0, 1))
    at_mm = np.cumsum(along, axis=1)[row, segment] - (1 - share) * along[row, segment]
    returns = np.append(row[1:] == row[:-1], [False] * min(1, len(row)))
    returns_mm = np.where(returns, np.append(at_mm[1:], [np.inf] * min(1, len(row))), np.inf)
    stays = leaves & (returns_mm - at_mm >= lasting[row])
    rows, first = np.unique(row[stays], return_index=True)
    return rows, (start + share[:, None] * step)[stays][first]


def _share_at(start: Floats, step: Floats, limit: Floats, leaves: Flags) -> Floats:
    """Where along a segment its distance from the center is the limit: 0 start, 1 end."""
    a: Floats = (step**2).sum(axis=-1)
    b: Floats = (start * step).sum(axis=-1)
    c: Floats = (start**2).sum(axis=-1) - limit**2
    root: Floats = np.sqrt(np.maximum(b**2 - a * c, 0.0))
    return np.clip((np.where(leaves, 1.0, -1.0) * root - b) / a, 0.0, 1.0)
