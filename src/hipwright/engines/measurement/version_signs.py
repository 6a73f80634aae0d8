"""Signs of the socket's version on an AP film."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.polylines import (
    across_at_height,
    along_line,
    crossings,
)
from hipwright.engines.measurement.construction import Circles, measures
from hipwright.engines.measurement.shapes import middle, unit

Floats = NDArray[np.float64]


@measures("posterior_wall_sign")
def posterior_wall_sign(head_center: Floats, posterior_rim: Floats) -> Floats:
    """Posterior wall sign: how far the posterior rim lies medial to the head center.

    Parameters
    ----------
    head_center
        Center of the circle of the round part of the head, (..., 2).
    posterior_rim
        Outline of the posterior wall, (..., m, 2).

    Returns
    -------
    The unit of the plane, positive (present) when the rim is medial to the center; NaN
    where it is not drawn at the height of the center.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> rim = FilmContour(points=(at(14, 22), at(-3, 0), at(-10, -18)))
    >>> print(posterior_wall_sign(at(0, 0), rim))
    3.0 mm
    """
    return head_center[..., 0] - across_at_height(posterior_rim, head_center[..., 1])


@measures("ischial_spine_sign")
def ischial_spine_sign(spine_tip: Floats, pelvic_brim: Floats) -> Floats:
    """Ischial spine sign: how far the spine shows inside the pelvis.

    Parameters
    ----------
    spine_tip
        Most medial point of the ischial spine, (..., 2).
    pelvic_brim
        The iliopectineal line beside the spine, (..., m, 2).

    Returns
    -------
    The unit of the plane, positive (present) when the tip is medial to the brim; NaN
    where the brim is not drawn at the height of the tip.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> brim = FilmContour(points=(at(-40, 10), at(-50, -30)))
    >>> print(ischial_spine_sign(at(-50, -10), brim))
    5.0 mm
    """
    return across_at_height(pelvic_brim, spine_tip[..., 1]) - spine_tip[..., 0]


def _wall_index(
    head: Circles, neck_superior: Floats, neck_inferior: Floats, rim: Floats
) -> Floats:
    axis = unit(middle(neck_superior, neck_inferior) - head.center)
    return (along_line(rim, head.center, axis) + head.radius) / head.radius


@measures("anterior_wall_index")
def anterior_wall_index(
    head: Circles, neck_superior: Floats, neck_inferior: Floats, anterior_rim: Floats
) -> Floats:
    """Anterior wall index: how far the anterior rim covers the head along the neck axis.

    Along the line through the head center and the middle of the narrowest neck,
    the distance from the medial edge of the head to the rim, over the radius.

    Parameters
    ----------
    head
        Circle of the round part of the head.
    neck_superior, neck_inferior
        The two outlines of the neck at its narrowest place, (..., 2).
    anterior_rim
        Outline of the anterior wall, (..., m, 2).

    Returns
    -------
    A ratio, NaN where the rim does not meet the axis. Defined by Siebenrock 2012.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> head = FilmCircle(center=at(0, 0), radius=24)
    >>> rim = FilmContour(points=(at(14, 22), at(-12, 10), at(-12, -10)))
    >>> print(anterior_wall_index(head, at(30, 16), at(30, -16), rim))
    0.5
    """
    return _wall_index(head, neck_superior, neck_inferior, anterior_rim)


@measures("posterior_wall_index")
def posterior_wall_index(
    head: Circles, neck_superior: Floats, neck_inferior: Floats, posterior_rim: Floats
) -> Floats:
    """Posterior wall index: how far the posterior rim covers the head along the neck axis.

    Parameters
    ----------
    head, neck_superior, neck_inferior
        As for :data:`anterior_wall_index`.
    posterior_rim
        Outline of the posterior wall, (..., m, 2).

    Returns
    -------
    A ratio, NaN where the rim does not meet the axis. Defined by Siebenrock 2012.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmCircle, FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> head = FilmCircle(center=at(0, 0), radius=24)
    >>> rim = FilmContour(points=(at(14, 22), at(0, 10), at(0, -10)))
    >>> print(posterior_wall_index(head, at(30, 16), at(30, -16), rim))
    1.0
    """
    return _wall_index(head, neck_superior, neck_inferior, posterior_rim)


@measures("retroversion_index")
def retroversion_index(lateral_rim: Floats, anterior_rim: Floats, posterior_rim: Floats) -> Floats:
    """Retroversion index: how far down the rims cross.

    Where the anterior rim runs lateral to the posterior one and crosses it
    lower down: the distance from the lateral rim to the crossing, over the one
    from the lateral rim to the lower end of the posterior rim.

    Parameters
    ----------
    lateral_rim
        Most lateral point of the bony roof, (..., 2).
    anterior_rim, posterior_rim
        Outlines of the two walls, (..., a, 2) and (..., b, 2).

    Returns
    -------
    Percent: 0 where the rims do not cross. Where they cross more than once, the lowest
    crossing counts; where the anterior rim stays lateral all the way, the lowest common
    height stands in for it. NaN where the rims have no height in common.

    Examples
    --------
    >>> from hipwright.domain.frames import FilmContour, film_hip_point
    >>> def at(lateral, superior):
    ...     return film_hip_point(lateral=lateral, superior=superior)
    >>> posterior = FilmContour(points=(at(15, 20), at(0, -20)))
    >>> anterior = FilmContour(points=(at(15, 20), at(14, 14), at(-3, -4)))
    >>> print(f"{retroversion_index(at(15, 20), anterior, posterior):.0f} %")
    20 %
    """
    front, back = _downward(anterior_rim), _downward(posterior_rim)
    top, bottom = _shared_heights(front, back)
    mark = rim_crossing(anterior_rim, posterior_rim)
    share = _length(mark - lateral_rim) / _length(back[..., -1, :] - lateral_rim)
    index = np.where(np.isnan(mark).any(axis=-1), 0.0, 100 * share)
    return np.where(top > bottom, index, np.nan)


def rim_crossing(anterior_rim: Floats, posterior_rim: Floats) -> Floats:
    """Where the rims cross, or what stands for the crossing in :data:`retroversion_index`.

    Parameters
    ----------
    anterior_rim, posterior_rim
        As there.

    Returns
    -------
    Array (..., 2), NaN where the anterior rim does not cross over and does not stay lateral.
    """
    front, back = _downward(anterior_rim), _downward(posterior_rim)
    _, bottom = _shared_heights(front, back)
    found = crossings(front, back)
    # Running down, lateral is to the left: the front turns medial where the back lies left of it.
    turns_medial = found.met & (found.turn > 0)
    heights = np.where(turns_medial, found.places[..., 1], np.inf)
    flat = heights.reshape(*heights.shape[:-2], -1)
    lowest = flat.argmin(axis=-1)[..., None, None]
    places = found.places.reshape(*flat.shape, 2)
    crossing = np.take_along_axis(places, lowest, axis=-2)[..., 0, :]
    crosses = np.isfinite(flat.min(axis=-1))
    front_end, back_end = across_at_height(front, bottom), across_at_height(back, bottom)
    stays_lateral = front_end > back_end
    end = np.stack([(front_end + back_end) / 2, bottom], axis=-1)
    mark = np.where((stays_lateral & ~crosses)[..., None], end, crossing)
    return np.where((crosses | stays_lateral)[..., None], mark, np.nan)


def _shared_heights(front: Floats, back: Floats) -> tuple[Floats, Floats]:
    """Highest and lowest height that both have, of rims that run down."""
    top = np.minimum(front[..., 0, 1], back[..., 0, 1])
    return top, np.maximum(front[..., -1, 1], back[..., -1, 1])


def _downward(rim: Floats) -> Floats:
    """The rim so turned that it runs down."""
    return rim if np.mean(rim[..., 0, 1] - rim[..., -1, 1]) > 0 else rim[..., ::-1, :]


def _length(arm: Floats) -> Floats:
    return np.hypot(arm[..., 0], arm[..., 1])
