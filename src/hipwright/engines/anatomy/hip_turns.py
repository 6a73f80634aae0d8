"""The same hip in another pose of its pelvis: everything that was surveyed, turned."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.socket_in_space import SocketInSpace

Floats = NDArray[np.float64]

_FEMORAL_PLACES = (
    "head_center",
    "neck_axis",
    "neck_axis_isthmus",
    "isthmus",
    "shaft_point",
    "shaft_axis",
    "long_axis",
    "posterior_condyles",
    "epicondyles",
    "version_points",
    "greater_trochanter",
    "lesser_trochanter",
    "clock_up",
    "malleoli",
    "tibial_condyles",
)
_SOCKET_PLACES = (
    "head_center",
    "center",
    "opening",
    "rim",
    "lunate_outer",
    "fossa_edge",
    "ischiofemoral_ends",
)
_AXES = 3


def tilt_rotation(tilt_deg: Floats | float) -> Floats:
    """Rotation that tilts the pelvis forward (anterior tilt is positive), (..., 3, 3)."""
    angle = np.radians(np.asarray(tilt_deg, dtype=np.float64))
    cos, sin = np.cos(angle), np.sin(angle)
    rotation = np.zeros((*angle.shape, _AXES, _AXES))
    rotation[..., 0, 0] = 1.0
    rotation[..., 1, 1] = rotation[..., 2, 2] = cos
    rotation[..., 1, 2], rotation[..., 2, 1] = sin, -sin
    return rotation


def tilted(hip: HipInSpace, tilt_deg: float) -> HipInSpace:
    """Tilt the pelvis further forward about the head's center; the femur is carried along.

    What does not move against the pelvis, the joint and the bones' own shape, stays as it
    was; what is told against upright (version, coverage by the clock, center-edge angles)
    changes.
    """
    return replace(turned(hip, tilt_rotation(tilt_deg)), tilt_deg=hip.tilt_deg + tilt_deg)


def turned(hip: HipInSpace, rotation: Floats) -> HipInSpace:
    """Turn all that was surveyed about the origin.

    Parameters
    ----------
    rotation
        Shape (3, 3), or (n, 3, 3) for the n draws of a hip with one leading axis.
    """
    return replace(
        hip,
        femur=None if hip.femur is None else turned_femur(hip.femur, rotation),
        socket=None if hip.socket is None else turned_socket(hip.socket, rotation),
    )


def turned_femur(femur: FemurInSpace, rotation: Floats) -> FemurInSpace:
    """Turn a surveyed femur; its maps go along with its axes."""
    return replace(
        femur, **{name: _turned(getattr(femur, name), rotation) for name in _FEMORAL_PLACES}
    )


def turned_socket(socket: SocketInSpace, rotation: Floats) -> SocketInSpace:
    """Turn a surveyed socket; its maps go along with its opening.

    The hours of its arrays stay those of the pose in which it was surveyed: whoever needs
    hours against another upright counts them anew.
    """
    points = {name: _turned(place, rotation) for name, place in socket.points.items()}
    moved = {name: _turned(getattr(socket, name), rotation) for name in _SOCKET_PLACES}
    return replace(socket, points=MappingProxyType(points), **moved)


def _turned(places: Floats, rotation: Floats) -> Floats:
    """Places (3), (k, 3), (n, 3) or (n, k, 3) turned by (3, 3) or by one of (n, 3, 3) each."""
    if rotation.ndim == 2:  # noqa: PLR2004 (one for all)
        return places @ rotation.T
    if places.ndim == 2:  # noqa: PLR2004 (a place for each)
        return np.einsum("nij,nj->ni", rotation, places)
    return np.einsum("nij,n...j->n...i", rotation, places)
