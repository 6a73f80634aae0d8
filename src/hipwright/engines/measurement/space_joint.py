"""Width and fit of the joint in space, and what stands close outside of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.socket_clock import HOURS, polar
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.measurement.space_acetabulum import clock_of_rim, socket_of
from hipwright.engines.measurement.space_construction import measures_in_space
from hipwright.engines.measurement.space_curves import by_hour

Floats = NDArray[np.float64]

SPINE_END = "anterior_inferior_spine_lower_end"
SPINE_TIP = "anterior_inferior_iliac_spine"


def surface_weights(socket: SocketInSpace) -> Floats:
    """Area that belongs to each place of the joint's map, any unit, (..., m, a); 0 for none."""
    sine = np.sin(np.radians(socket.map_angles_deg))
    known = np.isfinite(socket.gap_mm)
    return np.where(known, np.nan_to_num(socket.surface_mm) ** 2 * sine, 0.0)


def narrowest(socket: SocketInSpace, share_percent: float) -> Floats:
    """How much each place of the joint's map has a say in the smallest width, (m, a).

    The narrowest places are looked for once, on the mean of all draws: looked for in every
    draw anew, noise alone would make each joint narrower than it was surveyed.
    """
    gap, weight = socket.gap_mm, surface_weights(socket)
    lead = tuple(range(gap.ndim - 2))
    usual, area = gap.mean(axis=lead).ravel(), weight.mean(axis=lead).ravel()
    order = np.argsort(usual)  # NaN goes last, with no weight
    before = np.cumsum(area[order]) - area[order]
    wanted = share_percent / 100.0 * area.sum()
    taken = np.zeros_like(area)
    taken[order] = np.clip(wanted - before, 0.0, area[order])
    return taken.reshape(gap.shape[-2:])


@measures_in_space("joint_space.in_space.minimum")
def smallest_joint_space(hip: HipInSpace, smallest_share_percent: float) -> Floats:
    """Mean width over the narrowest small share of the articular surface, mm."""
    socket = socket_of(hip)
    taken = narrowest(socket, smallest_share_percent)
    return (np.nan_to_num(socket.gap_mm) * taken).sum(axis=(-2, -1)) / taken.sum()


@measures_in_space("joint_space.in_space.mean")
def mean_joint_space(hip: HipInSpace) -> Floats:
    """Mean width over the articular surface by area, mm."""
    socket = socket_of(hip)
    weight = surface_weights(socket)
    total = (np.nan_to_num(socket.gap_mm) * weight).sum(axis=(-2, -1))
    return total / weight.sum(axis=(-2, -1))


@measures_in_space("joint_space.in_space.by_hour")
def joint_space_by_hour(hip: HipInSpace, hours: Floats, half_width_hours: float) -> Floats:
    """Mean width in a sector of the articular surface about each hour, mm."""
    socket = socket_of(hip)
    weight = surface_weights(socket)
    away = np.abs((socket.map_hours[:, None] - hours + HOURS / 2) % HOURS - HOURS / 2)
    sector = (away <= half_width_hours + 1e-9).astype(np.float64)
    total = np.einsum("...ma,mw->...w", np.nan_to_num(socket.gap_mm) * weight, sector)
    return total / np.einsum("...ma,mw->...w", weight, sector)


@measures_in_space("socket_radius")
def socket_radius(hip: HipInSpace) -> Floats:
    """Radius of the sphere of the articular surface, mm."""
    return socket_of(hip).radius_mm


@measures_in_space("joint_congruence")
def joint_congruence(hip: HipInSpace) -> Floats:
    """Distance between the centers of head and socket, mm."""
    socket = socket_of(hip)
    return np.linalg.norm(socket.head_center - socket.center, axis=-1)


def nearest_rim(socket: SocketInSpace, place: Floats) -> tuple[Floats, Floats]:
    """The place of the rim nearest to places (..., 3), and its distance in mm, (...)."""
    away = np.linalg.norm(socket.rim - place[..., None, :], axis=-1)
    filled = np.where(np.isfinite(away), away, np.inf)
    nearest = filled.argmin(axis=-1)[..., None]
    rim = np.take_along_axis(socket.rim, nearest[..., None], axis=-2)[..., 0, :]
    distance = np.take_along_axis(filled, nearest, axis=-1)[..., 0]
    known = np.isfinite(distance)
    return np.where(known[..., None], rim, np.nan), np.where(known, distance, np.nan)


@measures_in_space("anterior_inferior_spine_to_rim")
def spine_to_rim(hip: HipInSpace) -> Floats:
    """Distance from the tip of the anterior inferior iliac spine to the rim, mm."""
    socket = socket_of(hip)
    return nearest_rim(socket, socket.points[SPINE_TIP])[1]


def rim_below_spine(socket: SocketInSpace) -> Floats:
    """The rim at the hour of the spine's lower end, (..., 3)."""
    low = socket.points[SPINE_END]
    _, _, hour = polar(low[..., None, :], socket.center, socket.opening)
    clock = clock_of_rim(socket)
    rim = np.moveaxis(socket.rim, -1, 0)
    flat_clock, flat_hour = clock.reshape(-1, clock.shape[-1]), hour.reshape(-1)
    parts = [
        [
            by_hour(c, v, np.array([h]))[0]
            for c, v, h in zip(
                flat_clock, part.reshape(-1, part.shape[-1]), flat_hour, strict=True
            )
        ]
        for part in rim
    ]
    return np.array(parts).T.reshape(low.shape)


@measures_in_space("anterior_inferior_spine_level")
def spine_level(hip: HipInSpace) -> Floats:
    """Height of the spine's lower end over the rim at its hour, mm."""
    socket = socket_of(hip)
    return socket.points[SPINE_END][..., 2] - rim_below_spine(socket)[..., 2]


@measures_in_space("ischiofemoral_space.in_space")
def ischiofemoral_space(hip: HipInSpace) -> Floats:
    """Smallest distance from the ischium to the femur at the lesser trochanter, mm."""
    return socket_of(hip).ischiofemoral_mm
