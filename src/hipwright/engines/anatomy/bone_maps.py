"""What a bone is painted with: one number for each vertex of its surface."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Surface
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.socket_clock import polar
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.geometry.mesh_distance import closest_in_tree
from hipwright.engines.geometry.mesh_tree import mesh_tree
from hipwright.engines.geometry.meshes import vertex_normals

Floats = NDArray[np.float64]
Scalars = NDArray[np.float32]

HEAD_NECK = 1.35
"""Head radii from the center up to which the residual is painted."""
NECK_FROM_DEG = 25.0
"""Nearer to the neck axis there is neck and trochanter, no head."""
WIDEST_GAP_MM = 12.0
"""A joint is not wider: vertices farther from the other bone do not face it."""
ON_SPHERE = 0.2
"""Share of the radius within which a vertex of the femur counts as head."""
FACING = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneMaps:
    """Maps of both bones by name, float32 in the order of each surface's vertices; NaN unpainted.

    On the femur ``residual_mm`` (over the head's sphere, outward positive), ``joint_space_mm``
    and ``coverage`` (1 where the rim covers the head, else 0); on the hip bone
    ``joint_space_mm``.
    """

    femur: Mapping[str, Scalars] = field(default_factory=lambda: MappingProxyType({}))
    hip_bone: Mapping[str, Scalars] = field(default_factory=lambda: MappingProxyType({}))


def bone_maps(nominal: HipInSpace, femur: Surface | None, hip_bone: Surface | None) -> BoneMaps:
    """Make all maps of one hip.

    Parameters
    ----------
    nominal
        As surveyed, without leading axes.
    femur, hip_bone
        The surfaces it was surveyed from, in ``hip_canonical``.
    """
    of_femur: dict[str, Scalars] = {}
    of_hip_bone: dict[str, Scalars] = {}
    if femur is not None and nominal.femur is not None:
        of_femur["residual_mm"] = _residual(femur, nominal.femur)
        if nominal.socket is not None:
            of_femur["coverage"] = _coverage(femur, nominal.femur, nominal.socket)
    if femur is not None and hip_bone is not None and nominal.socket is not None:
        center, radius = nominal.socket.center, float(nominal.socket.radius_mm)
        of_femur["joint_space_mm"] = _gap(femur, hip_bone, center, radius)
        of_hip_bone["joint_space_mm"] = _gap(hip_bone, femur, center, radius)
    return BoneMaps(femur=MappingProxyType(of_femur), hip_bone=MappingProxyType(of_hip_bone))


def _residual(surface: Surface, femur: FemurInSpace) -> Scalars:
    out = surface.vertices - femur.head_center
    away = np.linalg.norm(out, axis=1)
    radius = float(femur.head_radius_mm)
    angle = np.degrees(np.arccos(np.clip(out @ femur.neck_axis / np.maximum(away, 1e-9), -1, 1)))
    shown = (away < HEAD_NECK * radius) & (angle > NECK_FROM_DEG)
    return np.where(shown, away - radius, np.nan).astype(np.float32)


def _coverage(surface: Surface, femur: FemurInSpace, socket: SocketInSpace) -> Scalars:
    """Whether a vertex of the head lies within the rim, seen from the head's center."""
    out = surface.vertices - femur.head_center
    away = np.linalg.norm(out, axis=1)
    radius = float(femur.head_radius_mm)
    head = np.abs(away - radius) < ON_SPHERE * radius
    _, angle, hours = polar(surface.vertices, femur.head_center, socket.opening)
    _, rim_angle, rim_hours = polar(socket.rim, femur.head_center, socket.opening)
    there = np.isfinite(rim_angle)
    order = np.argsort(rim_hours[there])
    limit = np.interp(hours, rim_hours[there][order], rim_angle[there][order], period=12.0)
    return np.where(head, angle <= limit, np.nan).astype(np.float32)


def _gap(surface: Surface, other: Surface, center: Floats, radius: float) -> Scalars:
    """Distance of vertices near the joint from the other bone, where they face it."""
    out = surface.vertices - center
    near = np.linalg.norm(out, axis=1) < radius + WIDEST_GAP_MM
    index = np.flatnonzero(near)
    result = np.full(len(surface.vertices), np.nan, dtype=np.float32)
    corners = np.linalg.norm(other.vertices - center, axis=1) < radius + 2.0 * WIDEST_GAP_MM
    faces = other.faces[corners[other.faces].any(axis=1)]
    if not index.size or not len(faces):
        return result
    found = closest_in_tree(mesh_tree(other.vertices, faces), surface.vertices[index])
    toward = found.points - surface.vertices[index]
    normals = vertex_normals(surface.vertices, surface.faces)[index]
    gap = found.distances_mm
    faces_it = np.einsum("ij,ij->i", toward, normals) > FACING * gap
    shown = faces_it & (gap <= WIDEST_GAP_MM)
    result[index[shown]] = gap[shown]
    return result
