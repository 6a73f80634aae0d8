"""How far points lie from a mesh, and on which side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.geometry.mesh_rays import inside_tree
from hipwright.engines.geometry.mesh_tree import Floats, MeshTree, mesh_tree
from hipwright.engines.geometry.meshes import Ints

_DEPTH = 64  # of the stack: more than the levels of any tree


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Closest:
    """The places of a mesh that are closest to points.

    Attributes
    ----------
    points
        Shape (n, 3), mm.
    distances_mm
        Not signed, (n,).
    faces
        The face each lies on, (n,).
    shares
        Barycentric weights of the face's corners, (n, 3).
    """

    points: Floats
    distances_mm: Floats
    faces: NDArray[np.int64]
    shares: Floats


def closest_on_mesh(vertices: Floats, faces: Ints, points: Floats) -> Closest:
    """Give the closest place of a mesh to every point, (n, 3) mm."""
    return closest_in_tree(mesh_tree(vertices, faces), points)


def closest_in_tree(tree: MeshTree, points: Floats) -> Closest:
    """The same as :func:`closest_on_mesh` on a tree made before, for repeated use."""
    points = np.ascontiguousarray(points, dtype=np.float64)
    places, squares, rows, shares = closest_places(tree.triangles, tree.starts, tree.boxes, points)
    return Closest(
        points=places, distances_mm=np.sqrt(squares), faces=tree.order[rows], shares=shares
    )


def signed_distances_mm(
    vertices: Floats, faces: Ints, points: Floats, *, tree: MeshTree | None = None
) -> Floats:
    """Distances of points from a closed mesh, negative inside.

    The side is told by rays, so that slivers and folds do no harm.

    Parameters
    ----------
    vertices, faces
        A closed mesh, outward faces counterclockwise.
    points
        Shape (n, 3), mm.
    tree
        Its tree, where it was made before.
    """
    tree = tree or mesh_tree(vertices, faces)
    away = closest_in_tree(tree, points).distances_mm
    return np.where(inside_tree(tree, points), -away, away)


@njit(cache=True, nogil=True)
def closest_in_triangle(  # noqa: PLR0911 (one for each corner, edge and the inside)
    triangle: Floats, x: float, y: float, z: float
) -> tuple[float, float, float]:
    """Barycentric weights of the place of a triangle that is closest to (x, y, z).

    Regions of corners and edges as in Ericson, Real-Time Collision Detection (from memory).
    """
    ax, ay, az = triangle[0]
    ux, uy, uz = triangle[1, 0] - ax, triangle[1, 1] - ay, triangle[1, 2] - az
    vx, vy, vz = triangle[2, 0] - ax, triangle[2, 1] - ay, triangle[2, 2] - az
    px, py, pz = x - ax, y - ay, z - az
    d1, d2 = ux * px + uy * py + uz * pz, vx * px + vy * py + vz * pz
    if d1 <= 0.0 and d2 <= 0.0:
        return 1.0, 0.0, 0.0
    qx, qy, qz = px - ux, py - uy, pz - uz
    d3, d4 = ux * qx + uy * qy + uz * qz, vx * qx + vy * qy + vz * qz
    if d3 >= 0.0 and d4 <= d3:
        return 0.0, 1.0, 0.0
    c = d1 * d4 - d3 * d2
    if c <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        share = d1 / (d1 - d3)
        return 1.0 - share, share, 0.0
    rx, ry, rz = px - vx, py - vy, pz - vz
    d5, d6 = ux * rx + uy * ry + uz * rz, vx * rx + vy * ry + vz * rz
    if d6 >= 0.0 and d5 <= d6:
        return 0.0, 0.0, 1.0
    b = d5 * d2 - d1 * d6
    if b <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        share = d2 / (d2 - d6)
        return 1.0 - share, 0.0, share
    a = d3 * d6 - d5 * d4
    if a <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        share = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        return 0.0, 1.0 - share, share
    total = a + b + c
    if total <= 0.0:  # no area: its longest side was met above up to rounding
        return 1.0, 0.0, 0.0
    return a / total, b / total, c / total


@njit(cache=True, nogil=True)
def closest_places(  # noqa: C901 (a search in one piece, as compiled code is)
    triangles: Floats, starts: NDArray[np.int64], boxes: Floats, points: Floats
) -> tuple[Floats, Floats, NDArray[np.int64], Floats]:
    """Closest places, squared distances, triangles (in leaf order) and weights of corners."""
    leaves = starts.shape[0] - 1
    count = points.shape[0]
    places, squares = np.empty((count, 3)), np.empty(count)
    rows, shares = np.zeros(count, np.int64), np.zeros((count, 3))
    stack, stacked = np.empty(_DEPTH, np.int64), np.empty(_DEPTH)
    last = 0
    for k in range(count):
        x, y, z = points[k]
        best = np.inf
        first = True
        stack[0], stacked[0], top = 0, 0.0, 1
        while top:
            if first:  # neighbors in the list are mostly neighbors in space
                low, high = last, last + 1
            else:
                top -= 1
                node = stack[top]
                if stacked[top] >= best:
                    continue
                if node < leaves - 1:
                    left, right = 2 * node + 1, 2 * node + 2
                    near, far = _away(boxes, left, x, y, z), _away(boxes, right, x, y, z)
                    if near > far:
                        left, right, near, far = right, left, far, near
                    if far < best:
                        stack[top], stacked[top] = right, far
                        top += 1
                    if near < best:
                        stack[top], stacked[top] = left, near
                        top += 1
                    continue
                leaf = node - leaves + 1
                low, high = starts[leaf], starts[leaf + 1]
            first = False
            for i in range(low, high):
                a, b, c = closest_in_triangle(triangles[i], x, y, z)
                qx = a * triangles[i, 0, 0] + b * triangles[i, 1, 0] + c * triangles[i, 2, 0]
                qy = a * triangles[i, 0, 1] + b * triangles[i, 1, 1] + c * triangles[i, 2, 1]
                qz = a * triangles[i, 0, 2] + b * triangles[i, 1, 2] + c * triangles[i, 2, 2]
                square = (x - qx) ** 2 + (y - qy) ** 2 + (z - qz) ** 2
                if square < best:
                    best, rows[k], last = square, i, i
                    places[k, 0], places[k, 1], places[k, 2] = qx, qy, qz
                    shares[k, 0], shares[k, 1], shares[k, 2] = a, b, c
        squares[k] = best
    return places, squares, rows, shares


@njit(cache=True, nogil=True)
def _away(boxes: Floats, node: int, x: float, y: float, z: float) -> float:
    dx = max(boxes[node, 0] - x, 0.0, x - boxes[node, 3])
    dy = max(boxes[node, 1] - y, 0.0, y - boxes[node, 4])
    dz = max(boxes[node, 2] - z, 0.0, z - boxes[node, 5])
    return dx * dx + dy * dy + dz * dz
