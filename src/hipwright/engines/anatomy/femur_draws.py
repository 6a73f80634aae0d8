"""Draws of a surveyed femur: what it may be in truth, given how it was made and found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_frame import long_axis_sd_deg
from hipwright.engines.anatomy.femur_head import (
    ARTICULATES_FROM_DEG,
    ARTICULATES_SURELY_DEG,
    HONEST_MM,
)
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.femur_landmarks import (
    CONDYLES,
    EPICONDYLES,
    GREATER,
    HEAD_CENTER,
    ISTHMUS,
    LESSER,
    MALLEOLI,
    SHAFT,
    TIBIAL_CONDYLES,
    VERSION,
    long_axis,
)
from hipwright.engines.anatomy.femur_neck import SPHERE_SHARES, middle_of_patch, outline_deg
from hipwright.engines.anatomy.femur_polar import around, clock_up, polar_directions
from hipwright.engines.anatomy.space_doubt import (
    SpaceDoubt,
    edge_noise,
    edge_shifts,
    landmark_shifts,
    small_turns,
)
from hipwright.engines.geometry.spheres import MAD_TO_SD, TUKEY

Floats = NDArray[np.float64]

STEEPEST = 3.0
"""Where a ray grazes the surface, noise square to it moves the meeting by at most so much."""
ARM_MM = 80.0


def drawn_femur(femur: FemurInSpace, rng: np.random.Generator, doubt: SpaceDoubt) -> FemurInSpace:
    """The same femur with a leading axis: index 0 as surveyed, then draws of its doubt.

    Parameters
    ----------
    femur
        As :func:`~hipwright.engines.anatomy.femur_survey.survey_femur` gives it, without
        leading axes.

    Notes
    -----
    Noise, smooth over some millimeters, and a common shift move the surface; the sphere and
    the neck axis answer to them as their fits would (the sphere by its linearized robust
    fit, the axis by the section of the noisy surface), the head's center by its own spread
    on top; the maps are read again about the new center and axis. Landmarks move by their
    own spreads.
    """
    ways = polar_directions(femur.neck_axis, femur.clock_up, femur.hours, femur.angles_deg)
    noise, neck_noise = _surface_noise(femur, ways, rng, doubt)
    shift, grown = _sphere_answers(femur, ways, noise)
    shift = shift + landmark_shifts(rng, HEAD_CENTER, doubt)
    center, radius = femur.head_center + shift, femur.head_radius_mm + grown
    noisy = femur.radial_mm + noise * _graze(femur)
    neck = _axis_answers(femur, noisy, shift, radius)
    ends = [femur.shaft_point, femur.shaft_point - ARM_MM * femur.shaft_axis]
    upper, lower = (
        end + landmark_shifts(rng, name, doubt) for end, name in zip(ends, SHAFT, strict=True)
    )
    shaft = (upper - lower) / np.linalg.norm(upper - lower, axis=-1, keepdims=True)
    epicondyles = _moved(femur.epicondyles, EPICONDYLES, rng, doubt)
    long = _long_axes(femur, upper, epicondyles, rng, doubt)
    narrow = femur.isthmus + landmark_shifts(rng, ISTHMUS, doubt)
    toward = narrow - center
    several = {
        "posterior_condyles": CONDYLES,
        "version_points": VERSION,
        "malleoli": MALLEOLI,
        "tibial_condyles": TIBIAL_CONDYLES,
    }
    moved = {
        name: _moved(getattr(femur, name), marks, rng, doubt) for name, marks in several.items()
    }
    return replace(
        femur,
        head_center=center,
        head_radius_mm=radius,
        neck_axis=neck,
        neck_axis_isthmus=toward / np.linalg.norm(toward, axis=-1, keepdims=True),
        isthmus=narrow,
        shaft_point=upper,
        shaft_axis=shaft,
        long_axis=long,
        epicondyles=epicondyles,
        greater_trochanter=femur.greater_trochanter + landmark_shifts(rng, GREATER, doubt),
        lesser_trochanter=femur.lesser_trochanter + landmark_shifts(rng, LESSER, doubt),
        clock_up=clock_up(neck, long),
        radial_mm=_read_again(femur, ways, noisy, shift, neck),
        neck_mm=_neck_again(femur, neck_noise, shift, neck),
        **moved,
    )


def _moved(
    places: Floats, marks: tuple[str, ...], rng: np.random.Generator, doubt: SpaceDoubt
) -> Floats:
    return places + np.stack([landmark_shifts(rng, mark, doubt) for mark in marks], axis=1)


def _long_axes(
    femur: FemurInSpace,
    upper: Floats,
    epicondyles: Floats,
    rng: np.random.Generator,
    doubt: SpaceDoubt,
) -> Floats:
    """Long axis of each draw; where the knee was not scanned, by the spread of the fallback."""
    if np.isfinite(femur.epicondyles).all() and np.isfinite(femur.shaft_point).all():
        drawn = long_axis(upper, epicondyles)
        drawn[0] = femur.long_axis
        return drawn
    turns = small_turns(rng, long_axis_sd_deg(femur), doubt.count)
    return turns @ femur.long_axis


def _surface_noise(
    femur: FemurInSpace, ways: Floats, rng: np.random.Generator, doubt: SpaceDoubt
) -> tuple[Floats, Floats]:
    """Outward shift at the places of both maps, (draws, h, a) and (draws, h, s)."""
    places = femur.head_center + femur.radial_mm[..., None] * ways
    ring = around(femur.neck_axis, femur.clock_up, femur.hours)[:, None, :]
    axis = femur.head_center + femur.stations_mm[:, None] * femur.neck_axis
    necks = axis + femur.neck_mm[..., None] * ring
    together = np.concatenate([places.reshape(-1, 3), necks.reshape(-1, 3)])
    noise = edge_noise(rng, together, doubt) + edge_shifts(rng, doubt)[:, None]
    count = femur.radial_mm.size
    return (
        noise[:, :count].reshape(-1, *femur.radial_mm.shape),
        noise[:, count:].reshape(-1, *femur.neck_mm.shape),
    )


def _graze(femur: FemurInSpace) -> Floats:
    """How far a ray's meeting moves when the surface there moves outward by one, (h, a)."""
    slope = np.gradient(femur.radial_mm, np.radians(femur.angles_deg), axis=1)
    steep = np.hypot(1.0, slope / femur.radial_mm)
    return np.nan_to_num(np.minimum(steep, STEEPEST), nan=1.0)


def fit_weights(femur: FemurInSpace) -> Floats:
    """How much each place of the map had a say in the head's sphere, (..., h, a)."""
    over = femur.radial_mm - femur.head_radius_mm[..., None, None]
    span = ARTICULATES_SURELY_DEG - ARTICULATES_FROM_DEG
    region = np.clip((femur.angles_deg - ARTICULATES_FROM_DEG) / span, 0.0, 1.0)
    region = region * np.sin(np.radians(femur.angles_deg))
    inside = np.broadcast_to(region > 0, over.shape)
    scale = np.nanmedian(np.where(inside, np.abs(over), np.nan), axis=(-2, -1), keepdims=True)
    scale = np.maximum(MAD_TO_SD * scale, HONEST_MM)
    pull = np.clip(1.0 - (over / (TUKEY * scale)) ** 2, 0.0, None) ** 2
    return np.nan_to_num(region * pull)


def _sphere_answers(femur: FemurInSpace, ways: Floats, noise: Floats) -> tuple[Floats, Floats]:
    """Shift of the sphere's center (draws, 3) and growth of its radius (draws,)."""
    weights = fit_weights(femur).ravel()
    design = np.concatenate([ways.reshape(-1, 3), np.ones((weights.size, 1))], axis=1)
    normal = design.T @ (weights[:, None] * design)
    answer = np.linalg.solve(normal, (design * weights[:, None]).T)
    moved = noise.reshape(len(noise), -1) @ answer.T
    return moved[:, :3], moved[:, 3]


def _axis_answers(femur: FemurInSpace, noisy: Floats, shift: Floats, radius: Floats) -> Floats:
    """Neck axis of each draw: to the middle of what the sphere of 1.40 radii cuts out."""
    ranks = SPHERE_SHARES[0] * radius
    outline = outline_deg(noisy, femur.angles_deg, ranks)
    before = outline_deg(
        femur.radial_mm, femur.angles_deg, SPHERE_SHARES[0] * femur.head_radius_mm
    )
    count = len(noisy)
    axis = np.broadcast_to(femur.neck_axis, (count, 3))
    up = np.broadcast_to(femur.clock_up, (count, 3))
    middle = middle_of_patch(axis, up, femur.hours, outline)
    nominal = middle_of_patch(femur.neck_axis, femur.clock_up, femur.hours, before)
    turned = femur.neck_axis + (middle - nominal)
    base = SPHERE_SHARES[0] * femur.head_radius_mm
    toward = base * turned - shift
    return toward / np.linalg.norm(toward, axis=-1, keepdims=True)


def _read_again(
    femur: FemurInSpace, ways: Floats, noisy: Floats, shift: Floats, neck: Floats
) -> Floats:
    """The map about each draw's own center and axis, (draws, h, a).

    Places keep their hour; within an hour they are read at the grid's angles again.
    """
    shape = noisy.shape
    out = noisy[..., None] * ways - shift[:, None, None, :]
    away = np.linalg.norm(out, axis=-1)
    along = np.einsum("dhak,dk->dha", out, neck)
    angle = np.degrees(np.arccos(np.clip(along / away, -1.0, 1.0)))
    result = read_rows(angle.reshape(-1, shape[-1]), away.reshape(-1, shape[-1]), femur.angles_deg)
    result = result.reshape(shape)
    result[0] = femur.radial_mm
    return np.where(np.isfinite(femur.radial_mm), result, np.nan)


@njit(cache=True, nogil=True)
def read_rows(at: Floats, value: Floats, asked: Floats) -> Floats:
    """Values of many rows read at other places, linear between those that are finite.

    Parameters
    ----------
    at, value
        (n, k); where ``at`` falls back it is held at what it had reached.
    asked
        (m,), rising. Beyond the ends of a row its end values hold.

    Returns
    -------
    (n, m); NaN in rows without a finite value.
    """
    result = np.full((at.shape[0], asked.shape[0]), np.nan)
    xs, ys = np.empty(at.shape[1]), np.empty(at.shape[1])
    for row in range(at.shape[0]):
        count = 0
        for k in range(at.shape[1]):
            if np.isfinite(value[row, k]):
                xs[count] = at[row, k] if count == 0 else max(at[row, k], xs[count - 1])
                ys[count] = value[row, k]
                count += 1
        if count == 0:
            continue
        place = 0
        for j in range(asked.shape[0]):
            while place < count and xs[place] <= asked[j]:
                place += 1
            if place in (0, count):
                result[row, j] = ys[min(place, count - 1)]
            else:
                rise = (ys[place] - ys[place - 1]) / (xs[place] - xs[place - 1])
                result[row, j] = ys[place - 1] + rise * (asked[j] - xs[place - 1])
    return result


def _neck_again(femur: FemurInSpace, noise: Floats, shift: Floats, neck: Floats) -> Floats:
    """The neck's map about each draw's own center and axis, to first order."""
    ring = around(femur.neck_axis, femur.clock_up, femur.hours)
    turn = neck - femur.neck_axis
    moved = shift[:, None, :] + femur.stations_mm[None, :, None] * turn[:, None, :]
    return femur.neck_mm + noise - np.einsum("dsk,hk->dhs", moved, ring)
