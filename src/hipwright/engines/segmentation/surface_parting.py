"""Keeping neighboring bones apart: no two meshes may run into each other."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.mesh_distance import closest_in_tree
from hipwright.engines.geometry.mesh_rays import inside_tree
from hipwright.engines.geometry.mesh_tree import mesh_tree
from hipwright.engines.geometry.meshes import face_normals, neighbor_matrix

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]
Flags = NDArray[np.bool_]

APART_MM = 0.12
_ROUNDS = 4
_FARTHEST_MM = 1.5
_TOUCHING_MM = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbor:
    """A mesh, and which of its vertices may touch another one."""

    vertices: Floats = field(repr=False)
    faces: Faces = field(repr=False)
    near: Flags = field(repr=False)


def parted(first: Neighbor, second: Neighbor) -> tuple[Floats, Floats, tuple[int, int]]:
    """Move the vertices of two meshes out of each other.

    Each gives way by half, again and again, until all are ``APART_MM`` apart or have
    given way by 1.5 mm.

    Returns
    -------
    tuple
        Vertices of both, and in how many places each of them gave way.
    """
    places = [first.vertices.copy(), second.vertices.copy()]
    meshes = (first, second)
    moved = [np.zeros(len(p), dtype=bool) for p in places]
    for number in range(_ROUNDS):
        touched = False
        for own, other in ((0, 1), (1, 0)):
            rows = _in_reach(places[own], meshes[own].near, places[other])
            if not len(rows):
                continue
            share = 0.5 if number < _ROUNDS - 2 else 1.0
            shift, over = _way_out(places[own][rows], places[other], meshes[other].faces)
            places[own][rows[over]] += share * shift[over]
            moved[own][rows[over]] = True
            touched = touched or bool(over.any())
        if not touched:
            break
    counts = [_patches(mesh.faces, flags) for mesh, flags in zip(meshes, moved, strict=True)]
    return places[0], places[1], (counts[0], counts[1])


def _in_reach(points: Floats, near: Flags, others: Floats) -> NDArray[np.intp]:
    low, high = others.min(axis=0) - 1.0, others.max(axis=0) + 1.0
    return np.flatnonzero(near & ((points > low) & (points < high)).all(axis=1))


def _way_out(points: Floats, vertices: Floats, faces: Faces) -> tuple[Floats, Flags]:
    tree = mesh_tree(vertices, faces)
    found = closest_in_tree(tree, points)
    side = np.where(inside_tree(tree, points), -1.0, 1.0)
    height = side * found.distances_mm
    away = side[:, None] * (points - found.points)
    flat = found.distances_mm < _TOUCHING_MM
    away[flat] = face_normals(vertices, faces[found.faces[flat]])
    normals = away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), _TOUCHING_MM)
    over = (height < APART_MM) & (height > -_FARTHEST_MM)
    return (APART_MM - height)[:, None] * normals, over


def _patches(faces: Faces, flags: Flags) -> int:
    from scipy.sparse.csgraph import connected_components

    rows = np.flatnonzero(flags)
    if not len(rows):
        return 0
    graph = neighbor_matrix(len(flags), faces)[rows][:, rows]
    return int(connected_components(graph, directed=False)[0])
