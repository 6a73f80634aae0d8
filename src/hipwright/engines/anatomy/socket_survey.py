"""Survey one socket: everything that measurements in space ask of a hip bone."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Surface
from hipwright.domain.frames import require_one_frame
from hipwright.engines.anatomy.socket_clock import RAD_PER_HOUR, directions
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.anatomy.socket_ischium import ischiofemoral
from hipwright.engines.anatomy.socket_lunate import lunate_of
from hipwright.engines.anatomy.socket_rim import RIM_HOURS, rim_crest
from hipwright.engines.anatomy.socket_sphere import find_socket
from hipwright.engines.anatomy.socket_spine import spine_lower_end
from hipwright.engines.geometry.mesh_distance import signed_distances_mm
from hipwright.engines.geometry.mesh_rays import tree_hits_mm
from hipwright.engines.geometry.mesh_tree import MeshTree, mesh_tree

Floats = NDArray[np.float64]

MAP_HOURS = np.arange(0.0, 12.0, 1.0 / 6.0)
"""Every ten minutes of the clock."""

MAP_ANGLES_DEG = np.arange(1.0, 121.0, 2.0)
"""From the inward pole, past any rim."""

POINTS = (
    "anterior_superior_iliac_spine",
    "anterior_inferior_iliac_spine",
    "anterior_inferior_spine_lower_end",
    "pubic_tubercle",
    "posterior_superior_iliac_spine",
    "ischial_spine_tip",
    "ischial_tuberosity",
    "ischial_tuberosity_lateral",
    "symphysis_superior",
    "acetabular_notch",
    "opposite_head_center",
    "lesser_trochanter",
)
"""Landmarks that a survey always names; those that were not scanned are NaN."""

_AROUND_MM = 40.0  # as far as the anterior inferior spine


def survey_socket(
    hip_bone: Surface,
    femur: Surface | None,
    *,
    head_center: Floats,
    head_radius_mm: float,
    landmarks: Mapping[str, Floats],
) -> SocketInSpace:
    """Survey a hip bone in the canonical pose of its hip.

    Parameters
    ----------
    hip_bone, femur
        Closed surfaces in one ``hip_canonical`` frame; without a femur there is no gap.
    head_center, head_radius_mm
        Sphere of the femoral head, or of the socket where there is no femur.
    landmarks
        Canonical places (3,) by id of the catalog's bone features; a placed
        ``anterior_inferior_spine_lower_end`` outranks the one found here.

    Returns
    -------
    SocketInSpace
        Without leading axes.

    Raises
    ------
    SurfaceError
        The hip bone has no socket.
    """
    if femur is not None:
        require_one_frame(femur.frame, hip_bone.frame)
    sphere = find_socket(hip_bone, near=head_center)
    tree = _tree_around(hip_bone, sphere.center, sphere.radius_mm + _AROUND_MM)
    rim = rim_crest(tree, sphere.center, sphere.radius_mm, sphere.toward)
    lunate = lunate_of(tree, sphere.center, sphere.radius_mm, rim)
    ways = directions(rim.opening, np.radians(MAP_ANGLES_DEG), MAP_HOURS[:, None])
    hits = tree_hits_mm(tree, head_center, ways)
    places = head_center + hits[..., None] * ways
    carries = np.zeros(hits.shape, dtype=bool)
    met = np.isfinite(hits)
    carries[met] = lunate.carries(places[met])
    gap = np.full(hits.shape, np.nan)
    if femur is not None and carries.any():
        gap[carries] = signed_distances_mm(femur.vertices, femur.faces, places[carries])
    nowhere = np.full(3, np.nan)
    points = {name: np.asarray(landmarks.get(name, nowhere), dtype=np.float64) for name in POINTS}
    points["acetabular_notch"] = _notch_middle(rim.places)
    if not np.isfinite(points["anterior_inferior_spine_lower_end"]).all():
        points["anterior_inferior_spine_lower_end"] = spine_lower_end(
            tree,
            sphere.center,
            rim,
            points["anterior_inferior_iliac_spine"],
        )
    apart, ends = ischiofemoral(hip_bone, femur, points["lesser_trochanter"])
    return SocketInSpace(
        head_center=np.asarray(head_center, dtype=np.float64),
        head_radius_mm=np.asarray(head_radius_mm, dtype=np.float64),
        center=sphere.center,
        radius_mm=np.asarray(sphere.radius_mm),
        opening=rim.opening,
        rim_hours=RIM_HOURS,
        rim=rim.places,
        lunate_outer=lunate.outer_places(),
        fossa_edge=lunate.fossa_places(),
        map_hours=MAP_HOURS,
        map_angles_deg=MAP_ANGLES_DEG,
        surface_mm=np.where(carries, hits, np.nan),
        gap_mm=gap,
        points=MappingProxyType(points),
        ischiofemoral_mm=np.asarray(apart),
        ischiofemoral_ends=ends,
    )


def map_places(socket: SocketInSpace) -> Floats:
    """Places of the articular surface's map, (..., m, a, 3) mm; NaN where there is none."""
    angle, turn = np.meshgrid(np.radians(socket.map_angles_deg), socket.map_hours * RAD_PER_HOUR)
    ways = map_directions(socket.opening, angle, turn)
    return socket.head_center[..., None, None, :] + socket.surface_mm[..., None] * ways


def map_directions(opening: Floats, angle_rad: Floats, turn_rad: Floats) -> Floats:
    """Unit directions (..., m, a, 3) for openings (..., 3) and a grid (m, a)."""
    ways = [directions(one, angle_rad, turn_rad / RAD_PER_HOUR) for one in opening.reshape(-1, 3)]
    return np.array(ways).reshape(*opening.shape[:-1], *angle_rad.shape, 3)


def _tree_around(surface: Surface, center: Floats, reach_mm: float) -> MeshTree:
    near = ((surface.vertices - center) ** 2).sum(axis=1) < reach_mm**2
    return mesh_tree(surface.vertices, surface.faces[near[surface.faces].any(axis=1)])


def _notch_middle(rim: Floats) -> Floats:
    """Middle between the two ends of the bony rim at the notch."""
    there = np.isfinite(rim[:, 0])
    if there.all() or not there.any():
        return np.full(3, np.nan)
    ends = np.flatnonzero(there != np.roll(there, 1))
    if len(ends) != 2:  # noqa: PLR2004 (one gap has two ends)
        return np.full(3, np.nan)
    first, second = (int(e) if there[e] else int(e) - 1 for e in ends)
    return (rim[first] + rim[second]) / 2
