"""Surveys of sockets that are known in closed form: spheres with circular rims."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.socket_clock import directions
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.anatomy.socket_survey import MAP_ANGLES_DEG, MAP_HOURS, POINTS
from hipwright.engines.measurement.space_murray import opening_from_anatomical
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS

Floats = NDArray[np.float64]

HOURS = np.arange(0.0, 12.0, 1.0 / 12.0)
RADIUS, HEAD = 26.0, 23.0
FOSSA_DEG = 25.0


def round_socket(
    *,
    inclination: float = 50.0,
    anteversion: float = 20.0,
    rim_deg: float = 80.0,
    notch: tuple[float, float] | None = None,
    **other: Any,
) -> SocketInSpace:
    """A socket whose articular sphere is concentric with the head and ends at one angle."""
    opening = opening_from_anatomical(np.array(inclination), np.array(anteversion))
    rim = RADIUS * directions(opening, np.radians(np.full(len(HOURS), rim_deg)), HOURS)
    fossa = directions(opening, np.radians(np.array(40.0)), np.array(6.0))
    border = RADIUS * directions(-fossa, np.radians(np.full(72, FOSSA_DEG)), HOURS[::2])
    if notch is not None:
        gone = (notch[0] < HOURS) & (notch[1] > HOURS)
        rim = np.where(gone[:, None], np.nan, rim)
    ways = directions(opening, np.radians(MAP_ANGLES_DEG), MAP_HOURS[:, None])
    inside = rim_deg > MAP_ANGLES_DEG
    off_fossa = ways @ fossa < np.cos(np.radians(FOSSA_DEG))
    surface = np.where(inside & off_fossa, RADIUS, np.nan)
    nowhere = np.full(3, np.nan)
    socket = SocketInSpace(
        head_center=np.zeros(3),
        head_radius_mm=np.array(HEAD),
        center=np.zeros(3),
        radius_mm=np.array(RADIUS),
        opening=opening,
        rim_hours=HOURS,
        rim=rim,
        lunate_outer=rim,
        fossa_edge=border,
        map_hours=MAP_HOURS,
        map_angles_deg=MAP_ANGLES_DEG,
        surface_mm=surface,
        gap_mm=surface - HEAD,
        points=MappingProxyType(dict.fromkeys(POINTS, nowhere)),
        ischiofemoral_mm=np.array(np.nan),
        ischiofemoral_ends=np.full((2, 3), np.nan),
    )
    return replace(socket, **other)


def placed(socket: SocketInSpace, **points: tuple[float, float, float]) -> SocketInSpace:
    """The same socket with some of its landmarks."""
    known = {name: np.array(at) for name, at in points.items()}
    return replace(socket, points=MappingProxyType({**socket.points, **known}))


def measured(definition: str, socket: SocketInSpace | HipInSpace) -> Floats:
    """What a construction makes of a socket."""
    hip = socket if isinstance(socket, HipInSpace) else HipInSpace(femur=None, socket=socket)
    return SPACE_CONSTRUCTIONS[definition](hip)
