"""The crest of a socket's bony rim, hour by hour, and the way the socket opens."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from hipwright.engines.anatomy.socket_clock import RAD_PER_HOUR, clock_axes, directions, unit
from hipwright.engines.geometry.mesh_rays import tree_hits_mm
from hipwright.engines.geometry.mesh_tree import MeshTree

Floats = NDArray[np.float64]

HOURS_STEP = 1.0 / 12.0
RIM_HOURS = np.arange(0.0, 12.0, HOURS_STEP)
"""Every five minutes of the clock: 2.5°, about a millimeter along the rim."""

_STEP_MM, _FINE_MM = 0.25, 0.02
_FROM_SHARE = 0.7
_BEYOND_MM = 7.0
_ABOVE_MM = 14.0
_DROP_MM = 1.0
_PLATEAU_MM = 0.05
_ROUNDS = 4
_SETTLED = 1e-5
_NOTCH_HOUR, _NOTCH_HALF_HOURS = 6.0, 2.2
_NOTCH_MM = 3.5
_INSIDE_CREST_DEG = np.array([7.0, 11.0])
_ON_SPHERE_MM = 1.6
_OUTLIER_MM = 1.5
_NEIGHBORS = 7
_SMOOTHING_STEPS = 0.8
_SOFT_MM = 1.5
_FEWEST = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RimCrest:
    """The rim about a socket's sphere.

    Attributes
    ----------
    opening
        Normal of the plane that fits the crest best, out of the socket, (3,).
    places
        The crest at each of :data:`RIM_HOURS`, (h, 3) mm; NaN at the notch.
    trust
        How much each had a say in the plane, (h,).
    """

    opening: Floats
    places: Floats
    trust: Floats


def rim_crest(tree: MeshTree, center: Floats, radius: float, toward: Floats) -> RimCrest:
    """Find the crest of the rim and the opening together.

    At each hour the bone is looked at along the opening, from the articular surface outward
    to 7 mm beyond its sphere: the crest is the first place from which it falls away by a
    millimeter or, where it does not, the place that stands highest over a straight line.
    Hours in the lower half where it lies 3.5 mm under the plane of the others, or where no
    articular surface reaches up to it, are the notch.

    Parameters
    ----------
    tree
        Of the hip bone's faces around the socket.
    center, radius
        Sphere of the articular surface, (3,) mm and mm.
    toward
        Roughly into the socket, unit direction (3,).
    """
    opening = -toward
    found = _crest_about(tree, center, radius, opening)
    for _ in range(_ROUNDS):
        turned = found.opening
        settled = float(turned @ opening) > 1.0 - _SETTLED
        opening = turned
        found = _crest_about(tree, center, radius, opening)
        if settled:
            break
    return RimCrest(opening=opening, places=found.places, trust=found.trust)


def crest_profile(
    tree: MeshTree, center: Floats, opening: Floats, hours: Floats, out_mm: Floats
) -> Floats:
    """Height of the bone over the center's plane along the opening, seen from outside, mm.

    Parameters
    ----------
    hours, out_mm
        Shape (h,), and distances from the axis (h, n) or (n,).

    Returns
    -------
    Shape (h, n); minus infinity where there is no bone.
    """
    twelve, three = clock_axes(opening)
    turn = hours * RAD_PER_HOUR
    ring = np.cos(turn)[:, None] * twelve + np.sin(turn)[:, None] * three
    out = np.broadcast_to(out_mm, (len(hours), out_mm.shape[-1]))
    starts = center + _ABOVE_MM * opening + out[..., None] * ring[:, None, :]
    down = tree_hits_mm(tree, starts, -opening)
    return np.where(np.isfinite(down), _ABOVE_MM - down, -np.inf)


def _crest_about(tree: MeshTree, center: Floats, radius: float, opening: Floats) -> RimCrest:
    out = np.arange(_FROM_SHARE * radius, radius + _BEYOND_MM, _STEP_MM)
    profile = crest_profile(tree, center, opening, RIM_HOURS, out)
    coarse = out[[_peak(row) for row in profile]]
    fine = coarse[:, None] + np.arange(-_STEP_MM, _STEP_MM + _FINE_MM / 2, _FINE_MM)
    heights = crest_profile(tree, center, opening, RIM_HOURS, fine)
    top = heights.max(axis=1)
    on_top = heights > top[:, None] - _PLATEAU_MM
    away = np.where(on_top, fine, 0.0).sum(axis=1) / np.maximum(on_top.sum(axis=1), 1)
    away, top = (
        _without_outliers(away),
        _without_outliers(np.where(np.isfinite(top), top, -radius)),
    )
    plane, trust = _plane(away, top)
    deep = top < plane_heights(plane, away) - _NOTCH_MM
    notch = _notch(deep | ~_beside_sphere(tree, center, radius, opening, away, top))
    keep = ~notch
    plane, trust = _plane(away, top, keep)
    away, top = _smooth(away, keep), _smooth(top, keep)
    twelve, three = clock_axes(opening)
    turn = RIM_HOURS * RAD_PER_HOUR
    ring = np.cos(turn)[:, None] * twelve + np.sin(turn)[:, None] * three
    places = center + away[:, None] * ring + top[:, None] * opening
    normal = unit(opening - plane[1] * twelve - plane[2] * three)
    return RimCrest(opening=normal, places=np.where(keep[:, None], places, np.nan), trust=trust)


def _beside_sphere(
    tree: MeshTree, center: Floats, radius: float, opening: Floats, away: Floats, top: Floats
) -> NDArray[np.bool_]:
    """Whether the articular surface reaches up to the crest at each hour: not so in the notch."""
    angle = np.arctan2(away, -top)[:, None] - np.radians(_INSIDE_CREST_DEG)
    ways = directions(opening, angle, RIM_HOURS[:, None])
    off = np.abs(tree_hits_mm(tree, center, ways) - radius)
    return np.nan_to_num(off, nan=np.inf).min(axis=1) < _ON_SPHERE_MM


def _peak(heights: Floats) -> int:
    """Where a profile first falls away from its highest, else where it stands out most."""
    highest = np.maximum.accumulate(heights)
    fallen = np.flatnonzero((heights < highest - _DROP_MM) & np.isfinite(highest))
    if len(fallen):
        return int(heights[: fallen[0]].argmax())
    if not np.isfinite(heights).all():
        return int(heights.argmax())
    share = np.arange(len(heights)) / max(len(heights) - 1, 1)
    return int((heights - (1.0 - share) * heights[0] - share * heights[-1]).argmax())


def plane_heights(plane: Floats, away_mm: Floats) -> Floats:
    """Heights of the rim's plane at the places of :data:`RIM_HOURS`, mm."""
    turn = RIM_HOURS * RAD_PER_HOUR
    return plane[0] + away_mm * (plane[1] * np.cos(turn) + plane[2] * np.sin(turn))


def _plane(
    away: Floats, top: Floats, keep: NDArray[np.bool_] | None = None
) -> tuple[Floats, Floats]:
    """Plane through most of the crest: height in the middle, and slopes to 12 and 3 o'clock."""
    turn = RIM_HOURS * RAD_PER_HOUR
    design = np.column_stack([np.ones_like(turn), away * np.cos(turn), away * np.sin(turn)])
    there = np.ones(len(turn)) if keep is None else keep.astype(np.float64)
    trust = there
    plane = np.zeros(3)
    for turn_of_fit in range(12):
        normal = design.T @ (design * trust[:, None])
        plane = np.asarray(np.linalg.solve(normal, design.T @ (trust * top)), dtype=np.float64)
        off = (top - design @ plane) / (_SOFT_MM * max(1.0, 4.0 - turn_of_fit))
        trust = there / (1.0 + off**2) ** 2
    return plane, trust


def _without_outliers(values: Floats) -> Floats:
    usual: Floats = median_filter(values, size=_NEIGHBORS, mode="wrap")
    return np.where(np.abs(values - usual) > _OUTLIER_MM, usual, values)


def _notch(deep: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """From the first to the last deep hour of the lower half."""
    lower = np.abs(RIM_HOURS - _NOTCH_HOUR) < _NOTCH_HALF_HOURS
    within = np.flatnonzero(deep & lower)
    notch = np.zeros(len(deep), dtype=bool)
    if len(within):
        notch[within[0] : within[-1] + 1] = True
    return notch


def _smooth(values: Floats, keep: NDArray[np.bool_]) -> Floats:
    """A light smoothing around the clock that does not reach across the notch."""
    if keep.sum() < _FEWEST:
        return values
    weight = keep.astype(np.float64)
    total = gaussian_filter1d(values * weight, _SMOOTHING_STEPS, mode="wrap")
    return total / np.maximum(gaussian_filter1d(weight, _SMOOTHING_STEPS, mode="wrap"), 1e-9)
