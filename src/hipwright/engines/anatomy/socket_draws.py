"""Draws of a surveyed socket: what it may be in truth, given how it was made and found."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.socket_clock import clock_axes, unit
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.anatomy.socket_survey import map_places
from hipwright.engines.anatomy.space_doubt import (
    SpaceDoubt,
    edge_noise,
    edge_shifts,
    landmark_shifts,
)

Floats = NDArray[np.float64]

RIM_EDGE, FOSSA_EDGE = "articular_edge", "fossa_border"
_HEAD = "femoral_head_center"
_OTHER_HEAD = "opposite_head_center"
_SOFT_MM = 1.5
_ROUNDS = 3


def drawn_socket(
    socket: SocketInSpace,
    rng: np.random.Generator,
    doubt: SpaceDoubt,
    *,
    femur: FemurInSpace | None = None,
    femoral: SpaceDoubt | None = None,
) -> SocketInSpace:
    """The same socket with a leading axis: index 0 as surveyed, then draws of its doubt.

    Parameters
    ----------
    socket
        As :func:`~hipwright.engines.anatomy.socket_survey.survey_socket` gives it.
    rng, doubt
        Where the draws come from, and how far the hip bone may be from the real one.
    femur
        The drawn femur of the same hip, whose head is taken over draw by draw; without it
        the head stays with the socket's sphere.
    femoral
        Doubt of the femur's surface, for the width of the joint; the hip bone's own by
        default.

    Notes
    -----
    Noise, smooth over some millimeters, and a common shift move the bone's surface outward:
    the crest of the rim rises along the opening, the articular surface comes nearer, and the
    sphere, the plane of the rim and the width of the joint answer as their fits would (to
    first order). The borders of the articular surface move along it by their own spread, and
    landmarks by theirs.
    """
    count = doubt.count + 1
    places = map_places(socket)
    rim_noise, noise = _surface_noise(socket.rim, places, rng, doubt)
    shift, grown = _sphere_answers(socket, places, noise)
    other = femoral or doubt
    facing = edge_noise(rng, places, other) + edge_shifts(rng, other)[:, None, None]
    center = socket.center + shift
    head = center - socket.center + socket.head_center
    radius = np.broadcast_to(socket.head_radius_mm, (count,))
    if femur is not None:
        head, radius = femur.head_center, femur.head_radius_mm
    apart, ends = _ischium(socket, rng, doubt)
    return replace(
        socket,
        head_center=head,
        head_radius_mm=radius,
        center=center,
        radius_mm=socket.radius_mm + grown,
        opening=_opening_answers(socket, rim_noise),
        rim=socket.rim + rim_noise[..., None] * socket.opening,
        lunate_outer=_along_surface(socket, socket.lunate_outer, RIM_EDGE, rng, doubt),
        fossa_edge=_along_surface(socket, socket.fossa_edge, FOSSA_EDGE, rng, doubt),
        surface_mm=socket.surface_mm - noise,
        gap_mm=socket.gap_mm - noise - facing,
        points=MappingProxyType(
            {
                name: place + landmark_shifts(rng, _HEAD if name == _OTHER_HEAD else name, doubt)
                for name, place in socket.points.items()
            }
        ),
        ischiofemoral_mm=apart,
        ischiofemoral_ends=ends,
    )


def _surface_noise(
    rim: Floats, places: Floats, rng: np.random.Generator, doubt: SpaceDoubt
) -> tuple[Floats, Floats]:
    """Outward shift of the rim (draws, h) and of the articular surface (draws, m, a)."""
    together = np.concatenate([rim, places.reshape(-1, 3)])
    noise = edge_noise(rng, together, doubt) + edge_shifts(rng, doubt)[:, None]
    return noise[:, : len(rim)], noise[:, len(rim) :].reshape(-1, *places.shape[:-1])


def _sphere_answers(socket: SocketInSpace, places: Floats, noise: Floats) -> tuple[Floats, Floats]:
    """Shift of the sphere's center (draws, 3) and growth of its radius (draws,)."""
    known = np.isfinite(socket.surface_mm)
    away = places[known] - socket.center
    ways = unit(away)
    if len(ways) < ways.shape[1] + 1:
        return np.zeros((len(noise), 3)), np.zeros(len(noise))
    sine = np.sin(np.radians(socket.map_angles_deg))
    design = np.concatenate([ways, np.ones((len(ways), 1))], axis=1)
    answer = _weighted(design, np.broadcast_to(sine, known.shape)[known])
    moved = -noise[:, known] @ answer.T
    return moved[:, :3], moved[:, 3]


def _weighted(design: Floats, weights: Floats) -> Floats:
    """The matrix that turns heights into the parameters of their weighted fit."""
    heavy = design * weights[:, None]
    return np.asarray(np.linalg.solve(design.T @ heavy, heavy.T), dtype=np.float64)


def _opening_answers(socket: SocketInSpace, rim_noise: Floats) -> Floats:
    """Normal of the plane through each draw's rim, (draws, 3)."""
    known = np.isfinite(socket.rim[:, 0])
    twelve, three = clock_axes(socket.opening)
    away = socket.rim[known] - socket.center
    design = np.column_stack([np.ones(len(away)), away @ twelve, away @ three])
    height = away @ socket.opening
    fit = _weighted(design, np.ones(len(away)))
    for _ in range(_ROUNDS):
        off = (height - design @ (fit @ height)) / _SOFT_MM
        fit = _weighted(design, 1.0 / (1.0 + off**2) ** 2)
    slopes = rim_noise[:, known] @ fit.T
    return unit(socket.opening - slopes[:, 1:2] * twelve - slopes[:, 2:3] * three)


def _along_surface(
    socket: SocketInSpace, curve: Floats, name: str, rng: np.random.Generator, doubt: SpaceDoubt
) -> Floats:
    """A border moved along the sphere, square to itself, (draws, k, 3)."""
    out = unit(curve - socket.center)
    along = unit(np.roll(curve, -1, axis=0) - np.roll(curve, 1, axis=0))
    across = np.nan_to_num(np.cross(along, out))
    spread = replace(doubt, edge_sd_mm=doubt.landmark_sd_mm.get(name, 0.0))
    return curve + edge_noise(rng, curve, spread)[..., None] * across


def _ischium(
    socket: SocketInSpace, rng: np.random.Generator, doubt: SpaceDoubt
) -> tuple[Floats, Floats]:
    ends = socket.ischiofemoral_ends
    toward = unit(ends[1] - ends[0])
    noise = edge_noise(rng, ends, doubt) + edge_shifts(rng, doubt)[:, None]
    moved = ends + noise[..., None] * np.stack([toward, -toward])
    return socket.ischiofemoral_mm - noise.sum(axis=1), moved
