"""Where rays meet a mesh."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.geometry.mesh_tree import Floats, MeshTree, mesh_tree
from hipwright.engines.geometry.meshes import Ints

_EDGE = 1e-9  # share of a triangle by which a ray may miss it, so that none slips through a seam
_WAYS = (
    np.array([0.5477, 0.6229, 0.5585]),
    np.array([-0.7139, 0.1736, 0.6784]),
    np.array([0.1987, -0.8413, 0.5027]),
)
_MAJORITY = 2
_DEPTH = 64  # of the stack: more than the levels of any tree


def first_hits_mm(
    vertices: Floats,
    faces: Ints,
    origins: Floats,
    directions: Floats,
    *,
    outermost: bool = False,
) -> Floats:
    """How far rays run until they meet a mesh.

    Parameters
    ----------
    vertices, faces
        The mesh, (n, 3) mm and (m, 3).
    origins
        Where the rays start, (..., 3) mm.
    directions
        Where they go, (..., 3), of any length; broadcast against the origins.
    outermost
        Give the last meeting instead of the first.

    Returns
    -------
    Floats
        Distances in mm, (...), NaN where a ray meets nothing.
    """
    return tree_hits_mm(mesh_tree(vertices, faces), origins, directions, outermost=outermost)


def tree_hits_mm(
    tree: MeshTree, origins: Floats, directions: Floats, *, outermost: bool = False
) -> Floats:
    """The same as :func:`first_hits_mm` on a tree made before, for repeated use."""
    origins, directions = np.broadcast_arrays(origins, directions)
    length = np.linalg.norm(directions, axis=-1, keepdims=True)
    aimed = np.isfinite(length) & (length > 0)
    ways = np.where(aimed, directions / np.where(aimed, length, 1.0), 0.0)
    found = hit_distances(
        tree.triangles,
        tree.starts,
        tree.boxes,
        np.ascontiguousarray(origins, dtype=np.float64).reshape(-1, 3),
        np.ascontiguousarray(ways, dtype=np.float64).reshape(-1, 3),
        outermost,
    )
    # A ray that leads nowhere meets nothing.
    return np.where(aimed[..., 0], found.reshape(origins.shape[:-1]), np.nan)


def inside_tree(tree: MeshTree, points: Floats) -> NDArray[np.bool_]:
    """Whether points (n, 3) lie inside a closed mesh: the vote of three rays each."""
    points = np.ascontiguousarray(points, dtype=np.float64)
    votes = sum(
        (crossings(tree.triangles, tree.starts, tree.boxes, points, way) > 0).astype(np.int64)
        for way in _WAYS
    )
    return np.asarray(votes) >= _MAJORITY


@njit(cache=True, nogil=True)
def hit_distances(
    triangles: Floats,
    starts: NDArray[np.int64],
    boxes: Floats,
    origins: Floats,
    directions: Floats,
    outermost: bool,  # noqa: FBT001 (compiled kernels take their arguments by position)
) -> Floats:
    """First or last meeting of every ray; directions are of unit length."""
    leaves = starts.shape[0] - 1
    result = np.empty(origins.shape[0])
    stack = np.empty(_DEPTH, np.int64)
    for ray in range(origins.shape[0]):
        ox, oy, oz = origins[ray]
        dx, dy, dz = directions[ray]
        ix = 1.0 / dx if dx != 0.0 else 1e300
        iy = 1.0 / dy if dy != 0.0 else 1e300
        iz = 1.0 / dz if dz != 0.0 else 1e300
        best = -1.0 if outermost else np.inf
        stack[0] = 0
        top = 1
        while top:
            top -= 1
            node = stack[top]
            ax, bx = (boxes[node, 0] - ox) * ix, (boxes[node, 3] - ox) * ix
            ay, by = (boxes[node, 1] - oy) * iy, (boxes[node, 4] - oy) * iy
            az, bz = (boxes[node, 2] - oz) * iz, (boxes[node, 5] - oz) * iz
            near = max(min(ax, bx), min(ay, by), min(az, bz), 0.0)
            far = min(max(ax, bx), max(ay, by), max(az, bz))
            if far < near - 1e-9 or (far < best if outermost else near > best):
                continue
            if node < leaves - 1:
                stack[top] = 2 * node + 1
                stack[top + 1] = 2 * node + 2
                top += 2
                continue
            leaf = node - leaves + 1
            for i in range(starts[leaf], starts[leaf + 1]):
                px, py, pz = triangles[i, 0]
                ux, uy, uz = (
                    triangles[i, 1, 0] - px,
                    triangles[i, 1, 1] - py,
                    triangles[i, 1, 2] - pz,
                )
                vx, vy, vz = (
                    triangles[i, 2, 0] - px,
                    triangles[i, 2, 1] - py,
                    triangles[i, 2, 2] - pz,
                )
                hx, hy, hz = dy * vz - dz * vy, dz * vx - dx * vz, dx * vy - dy * vx
                det = ux * hx + uy * hy + uz * hz
                if det == 0.0:
                    continue
                sx, sy, sz = ox - px, oy - py, oz - pz
                a = (sx * hx + sy * hy + sz * hz) / det
                if a < -_EDGE or a > 1.0 + _EDGE:
                    continue
                qx, qy, qz = sy * uz - sz * uy, sz * ux - sx * uz, sx * uy - sy * ux
                b = (dx * qx + dy * qy + dz * qz) / det
                if b < -_EDGE or a + b > 1.0 + _EDGE:
                    continue
                t = (vx * qx + vy * qy + vz * qz) / det
                if t >= 0.0 and (t > best if outermost else t < best):
                    best = t
        result[ray] = best if 0.0 <= best < np.inf else np.nan
    return result


@njit(cache=True, nogil=True)
def crossings(
    triangles: Floats,
    starts: NDArray[np.int64],
    boxes: Floats,
    origins: Floats,
    direction: Floats,
) -> NDArray[np.int64]:
    """How often rays in one direction leave a mesh more than they enter it."""
    leaves = starts.shape[0] - 1
    dx, dy, dz = direction
    result = np.zeros(origins.shape[0], np.int64)
    stack = np.empty(_DEPTH, np.int64)
    for ray in range(origins.shape[0]):
        ox, oy, oz = origins[ray]
        stack[0] = 0
        top = 1
        while top:
            top -= 1
            node = stack[top]
            ax, bx = (boxes[node, 0] - ox) / dx, (boxes[node, 3] - ox) / dx
            ay, by = (boxes[node, 1] - oy) / dy, (boxes[node, 4] - oy) / dy
            az, bz = (boxes[node, 2] - oz) / dz, (boxes[node, 5] - oz) / dz
            near = max(min(ax, bx), min(ay, by), min(az, bz), 0.0)
            if min(max(ax, bx), max(ay, by), max(az, bz)) < near - 1e-9:
                continue
            if node < leaves - 1:
                stack[top] = 2 * node + 1
                stack[top + 1] = 2 * node + 2
                top += 2
                continue
            for i in range(starts[node - leaves + 1], starts[node - leaves + 2]):
                px, py, pz = triangles[i, 0]
                u = triangles[i, 1] - triangles[i, 0]
                v = triangles[i, 2] - triangles[i, 0]
                hx, hy, hz = dy * v[2] - dz * v[1], dz * v[0] - dx * v[2], dx * v[1] - dy * v[0]
                det = u[0] * hx + u[1] * hy + u[2] * hz
                if det == 0.0:
                    continue
                sx, sy, sz = ox - px, oy - py, oz - pz
                a = (sx * hx + sy * hy + sz * hz) / det
                if a < 0.0 or a > 1.0:
                    continue
                qx, qy, qz = sy * u[2] - sz * u[1], sz * u[0] - sx * u[2], sx * u[1] - sy * u[0]
                b = (dx * qx + dy * qy + dz * qz) / det
                if b < 0.0 or a + b > 1.0:
                    continue
                if (v[0] * qx + v[1] * qy + v[2] * qz) / det > 0.0:
                    result[ray] += 1 if det < 0.0 else -1
    return result
