"""Center-edge angles, version, sectors and roof of a socket in space."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.socket_clock import polar
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.measurement.space_construction import measures_in_space
from hipwright.engines.measurement.space_curves import axial_pair, by_hour, cuts, farthest
from hipwright.engines.measurement.space_murray import anatomical_deg

Floats = NDArray[np.float64]

TWO_OCLOCK, ONE_OCLOCK = 2.0, 1.0


def socket_of(hip: HipInSpace) -> SocketInSpace:
    """The socket, which whoever measures it has made sure is there.

    Raises
    ------
    ValueError
        The hip has no socket.
    """
    if hip.socket is None:
        raise ValueError("a socket is needed here: ask measure_in_space, which looks first")
    return hip.socket


def lateral_edge(socket: SocketInSpace) -> Floats:
    """The rim in the frontal plane through the head's center, (..., 3)."""
    found = cuts(socket.rim, socket.rim[..., 1] - socket.head_center[..., None, 1])
    return farthest(found, found[..., 2])


def anterior_edge(socket: SocketInSpace) -> Floats:
    """The rim in the sagittal plane through the head's center, in front, (..., 3)."""
    found = cuts(socket.rim, socket.rim[..., 0] - socket.head_center[..., None, 0])
    return farthest(found, found[..., 1])


@measures_in_space("center_edge_angle.lateral_in_space")
def lateral_center_edge(hip: HipInSpace) -> Floats:
    """Angle at the head's center from straight up to the rim in the frontal plane, degrees."""
    socket = socket_of(hip)
    arm = lateral_edge(socket) - socket.head_center
    return np.where(arm[..., 2] > 0, np.degrees(np.arctan2(arm[..., 0], arm[..., 2])), np.nan)


@measures_in_space("center_edge_angle.anterior_in_space")
def anterior_center_edge(hip: HipInSpace) -> Floats:
    """Angle at the head's center from straight up to the front rim, sagittal plane, degrees."""
    socket = socket_of(hip)
    arm = anterior_edge(socket) - socket.head_center
    return np.where(arm[..., 1] > 0, np.degrees(np.arctan2(arm[..., 1], arm[..., 2])), np.nan)


def clock_of_rim(socket: SocketInSpace) -> Floats:
    """Hour of every place of the rim about the socket's opening as it is turned now, (..., h)."""
    return polar(socket.rim, socket.center, socket.opening)[2]


def rim_angle_rad(socket: SocketInSpace) -> Floats:
    """Angle at the head's center from the inward pole to the rim, (..., h)."""
    return polar(socket.rim, socket.head_center, socket.opening)[1]


@measures_in_space("center_edge_angle.by_hour")
def center_edge_by_hour(hip: HipInSpace, hours: Floats) -> Floats:
    """Angle at the head's center from the socket's axis to the rim, hour by hour, degrees."""
    socket = socket_of(hip)
    return np.degrees(by_hour(clock_of_rim(socket), rim_angle_rad(socket), hours))


def rims_at(socket: SocketInSpace, height: Floats) -> tuple[Floats, Floats]:
    """Anterior and posterior rim in the axial plane at a height, (..., 3) each."""
    return axial_pair(socket.rim, height)


def height_of_hour(socket: SocketInSpace, hour: float) -> Floats:
    """Height of the rim at an hour, mm, (...)."""
    wanted = np.array([hour])
    return by_hour(clock_of_rim(socket), socket.rim[..., 2], wanted)[..., 0]


def _version(front: Floats, back: Floats) -> Floats:
    along = front - back
    return np.degrees(np.arctan2(-along[..., 0], along[..., 1]))


@measures_in_space("acetabular_version.equatorial")
def equatorial_version(hip: HipInSpace) -> Floats:
    """Version in the axial plane through the head's center, degrees."""
    socket = socket_of(hip)
    return _version(*rims_at(socket, socket.head_center[..., 2]))


@measures_in_space("acetabular_version.two_oclock")
def version_at_two(hip: HipInSpace) -> Floats:
    """Version in the axial plane through the front rim at 2 o'clock, degrees."""
    socket = socket_of(hip)
    return _version(*rims_at(socket, height_of_hour(socket, TWO_OCLOCK)))


@measures_in_space("acetabular_version.one_oclock")
def version_at_one(hip: HipInSpace) -> Floats:
    """Version in the axial plane through the front rim at 1 o'clock, degrees."""
    socket = socket_of(hip)
    return _version(*rims_at(socket, height_of_hour(socket, ONE_OCLOCK)))


@measures_in_space("acetabular_version.plane")
def version_of_plane(hip: HipInSpace) -> Floats:
    """Anatomical anteversion of the plane of the rim, degrees."""
    return anatomical_deg(socket_of(hip).opening)[1]


@measures_in_space("acetabular_inclination.plane")
def inclination_of_plane(hip: HipInSpace) -> Floats:
    """Anatomical inclination of the plane of the rim, degrees."""
    return anatomical_deg(socket_of(hip).opening)[0]


def _sectors(hip: HipInSpace) -> tuple[Floats, Floats]:
    """Anterior and posterior sector angle, degrees."""
    socket = socket_of(hip)
    front, back = rims_at(socket, socket.head_center[..., 2])
    inward = inward_line(socket)
    ahead = np.stack([inward[..., 1], -inward[..., 0]], axis=-1)
    angles: list[Floats] = []
    for place, sign in ((front, 1.0), (back, -1.0)):
        arm = (place - socket.head_center)[..., :2]
        along, across = (arm * inward).sum(axis=-1), (arm * ahead).sum(axis=-1)
        angles.append(np.degrees(np.arctan2(sign * across, along)))
    return angles[0], angles[1]


def inward_line(socket: SocketInSpace) -> Floats:
    """Unit direction toward the other head in the axial plane, or medial without it, (..., 2)."""
    away = (socket.points["opposite_head_center"] - socket.head_center)[..., :2]
    medial = np.broadcast_to(np.array([-1.0, 0.0]), away.shape)
    away = np.where(np.isfinite(away).all(axis=-1, keepdims=True), away, medial)
    return away / np.linalg.norm(away, axis=-1, keepdims=True)


@measures_in_space("anterior_sector_angle")
def anterior_sector(hip: HipInSpace) -> Floats:
    """Angle at the head's center from the line of the heads to the front rim, degrees."""
    return _sectors(hip)[0]


@measures_in_space("posterior_sector_angle")
def posterior_sector(hip: HipInSpace) -> Floats:
    """Angle at the head's center from the line of the heads to the back rim, degrees."""
    return _sectors(hip)[1]


@measures_in_space("horizontal_sector_angle")
def horizontal_sector(hip: HipInSpace) -> Floats:
    """Sum of the two, degrees."""
    front, back = _sectors(hip)
    return front + back


def roof_ends(socket: SocketInSpace) -> tuple[Floats, Floats]:
    """Medial and lateral end of the roof in the frontal plane of the head's center, (..., 3)."""
    ends: list[Floats] = []
    for curve in (socket.fossa_edge, socket.lunate_outer):
        found = cuts(curve, curve[..., 1] - socket.head_center[..., None, 1])
        ends.append(farthest(found, found[..., 2]))
    return ends[0], ends[1]


@measures_in_space("roof_inclination.in_space")
def roof_inclination(hip: HipInSpace) -> Floats:
    """Rise of the line from the medial to the lateral end of the roof, degrees."""
    medial, lateral = roof_ends(socket_of(hip))
    rise = lateral - medial
    return np.where(rise[..., 0] > 0, np.degrees(np.arctan2(rise[..., 2], rise[..., 0])), np.nan)
