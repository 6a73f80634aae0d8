"""Where closed curves on the bones are cut by planes, and their angles around a clock.

Arrays may have leading axes; places that are NaN are gaps in a curve.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_ROUNDS = 3


def cuts(curve: Floats, off: Floats) -> Floats:
    """Places where a closed curve changes sides of a plane.

    Parameters
    ----------
    curve
        Shape (..., h, 3), in order; the last place is followed by the first.
    off
        Signed distance of each place from the plane, (..., h).

    Returns
    -------
    Shape (..., h, 3): the place between a point and the next one, NaN where there is none.
    Between places the curve runs on a cubic through four of them, straight beside a gap.
    """
    following = np.roll(off, -1, axis=-1)
    crosses = (off <= 0) != (following <= 0)
    crosses &= np.isfinite(off) & np.isfinite(following)
    share = np.where(crosses, off / np.where(crosses, off - following, 1.0), 0.0)
    before, after = np.roll(off, 1, axis=-1), np.roll(off, -2, axis=-1)
    smooth = np.isfinite(before) & np.isfinite(after)
    at = share
    for _ in range(_ROUNDS):
        weights = _cubic(at)
        here = weights[0] * before + weights[1] * off + weights[2] * following + weights[3] * after
        at = np.where(smooth, at + here / np.where(crosses, off - following, 1.0), share)
    at = np.clip(at, 0.0, 1.0)
    weights = [np.where(smooth, w, 0.0) for w in _cubic(at)]
    weights[1] = np.where(smooth, weights[1], 1.0 - at)
    weights[2] = np.where(smooth, weights[2], at)
    places = np.zeros_like(curve)
    for step, weight in zip((1, 0, -1, -2), weights, strict=True):
        places += np.nan_to_num(np.roll(curve, step, axis=-2)) * weight[..., None]
    return np.where(crosses[..., None], places, np.nan)


def _cubic(at: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Weights of four neighbors (at −1, 0, 1, 2) for a place between the middle two."""
    return (
        -at * (at - 1.0) * (at - 2.0) / 6.0,
        (at + 1.0) * (at - 1.0) * (at - 2.0) / 2.0,
        -(at + 1.0) * at * (at - 2.0) / 2.0,
        (at + 1.0) * at * (at - 1.0) / 6.0,
    )


def farthest(places: Floats, along: Floats) -> Floats:
    """Of places (..., h, 3) the one with the greatest ``along``, (..., h); NaN where none is."""
    score = np.where(np.isfinite(places[..., 0]) & np.isfinite(along), along, -np.inf)
    best = score.argmax(axis=-1)[..., None]
    chosen = np.take_along_axis(places, best[..., None], axis=-2)[..., 0, :]
    found = np.isfinite(np.take_along_axis(score, best, axis=-1))
    return np.where(found, chosen, np.nan)


def axial_pair(curve: Floats, height: Floats) -> tuple[Floats, Floats]:
    """Foremost and hindmost place of a curve in the axial plane at heights (...), (..., 3) each.

    NaN where the plane does not cut the curve twice.
    """
    found = cuts(curve, curve[..., 2] - height[..., None])
    twice = np.isfinite(found[..., 0]).sum(axis=-1) >= 2  # noqa: PLR2004 (in front and behind)
    pair = farthest(found, found[..., 1]), farthest(found, -found[..., 1])
    front, back = (np.where(twice[..., None], place, np.nan) for place in pair)
    return front, back


def by_hour(hours: Floats, values: Floats, wanted: Floats) -> Floats:
    """Values around a clock of 12 hours, at wanted hours.

    Parameters
    ----------
    hours
        Shape (..., h), rising around the clock from any start.
    values
        Shape (..., h); NaN in a gap.
    wanted
        Shape (w,).

    Returns
    -------
    Shape (..., w): linear between two neighbors, NaN beside a gap.
    """
    flat_hours, flat_values = (
        hours.reshape(-1, hours.shape[-1]),
        values.reshape(-1, values.shape[-1]),
    )
    rows = [_one_clock(h, v, wanted) for h, v in zip(flat_hours, flat_values, strict=True)]
    return np.array(rows).reshape(*hours.shape[:-1], len(wanted))


def _one_clock(hours: Floats, values: Floats, wanted: Floats) -> Floats:
    known = np.isfinite(hours) & np.isfinite(values)
    if not known.any():
        return np.full(len(wanted), np.nan)
    order = np.argsort(hours[known])
    at, there = hours[known][order], values[known][order]
    widest = 1.5 * 12.0 / len(hours)
    result = np.interp(wanted % 12.0, at, there, period=12.0)
    place = np.searchsorted(at, wanted % 12.0)
    gap = (at[place % len(at)] - at[(place - 1) % len(at)]) % 12.0
    return np.where(gap > widest, np.nan, result)


def bridged(hours: Floats, values: Floats, wanted: Floats) -> Floats:
    """The same as :func:`by_hour`, carried straight across gaps; NaN where nothing is known."""
    flat_hours, flat_values = (
        hours.reshape(-1, hours.shape[-1]),
        values.reshape(-1, values.shape[-1]),
    )
    rows: list[Floats] = []
    for one, there in zip(flat_hours, flat_values, strict=True):
        known = np.isfinite(one) & np.isfinite(there)
        if not known.any():
            rows.append(np.full(len(wanted), np.nan))
            continue
        order = np.argsort(one[known])
        rows.append(np.interp(wanted, one[known][order], there[known][order], period=12.0))
    return np.array(rows).reshape(*hours.shape[:-1], len(wanted))
