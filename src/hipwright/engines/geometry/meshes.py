"""Closed triangle meshes as raw arrays: areas, normals, neighbors, pieces and handles.

A mesh is ``vertices`` of shape (n, 3) in mm and ``faces`` of shape (m, 3), indices of
vertices, counterclockwise seen from outside.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]


def face_vectors_mm2(vertices: Floats, faces: Ints) -> Floats:
    """Normals of the faces, as long as twice their areas, (m, 3)."""
    a = vertices[faces[:, 0]]
    return np.cross(vertices[faces[:, 1]] - a, vertices[faces[:, 2]] - a)


def face_normals(vertices: Floats, faces: Ints) -> Floats:
    """Unit outward normals of the faces, (m, 3); zero for a face without area."""
    return _unit(face_vectors_mm2(vertices, faces))


def face_areas_mm2(vertices: Floats, faces: Ints) -> Floats:
    """Areas of the faces, (m,)."""
    return np.linalg.norm(face_vectors_mm2(vertices, faces), axis=1) / 2


def area_mm2(vertices: Floats, faces: Ints) -> float:
    """Area of the whole mesh."""
    return float(face_areas_mm2(vertices, faces).sum())


def volume_mm3(vertices: Floats, faces: Ints) -> float:
    """Volume inside a closed mesh, positive when its faces look outward."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def vertex_normals(vertices: Floats, faces: Ints) -> Floats:
    """Unit outward normals of the vertices: of the faces around, weighted by their angles.

    The sign of a point's height over its closest vertex along this normal tells whether
    it lies inside (Bærentzen and Aanæs 2005, from memory).
    """
    normals = face_normals(vertices, faces)
    total = np.zeros_like(vertices)
    corners = [vertices[faces[:, k]] for k in range(3)]
    for k in range(3):
        u = _unit(corners[(k + 1) % 3] - corners[k])
        v = _unit(corners[(k + 2) % 3] - corners[k])
        angles = np.arccos(np.clip(np.einsum("ij,ij->i", u, v), -1.0, 1.0))
        for axis in range(3):
            total[:, axis] += np.bincount(
                faces[:, k], weights=angles * normals[:, axis], minlength=len(vertices)
            )
    return _unit(total)


def edges(faces: Ints) -> NDArray[np.int64]:
    """Each edge once, lower index first, shape (e, 2), rising."""
    count = int(faces.max(initial=-1)) + 1
    upper = sparse.triu(neighbor_matrix(count, faces), format="coo")
    return np.column_stack([upper.row, upper.col]).astype(np.int64)


def neighbor_matrix(count: int, faces: Ints) -> sparse.csr_array:
    """Who shares an edge with whom: symmetric (count, count) of ones, nothing on the diagonal."""
    pairs = _directed_edges(faces)
    rows = np.concatenate([pairs[:, 0], pairs[:, 1]])
    columns = np.concatenate([pairs[:, 1], pairs[:, 0]])
    matrix = sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=(count, count))
    matrix.sum_duplicates()
    matrix.data[:] = 1.0
    return matrix


def averaging_matrix(count: int, faces: Ints) -> sparse.csr_array:
    """Turns values at vertices into the means of their neighbors, (count, count)."""
    matrix = neighbor_matrix(count, faces)
    degree = np.diff(matrix.indptr)
    matrix.data /= np.repeat(degree, degree)
    return matrix


def euler_number(faces: Ints) -> int:
    """Vertices minus edges plus faces; vertices that no face uses do not count."""
    return len(np.unique(faces)) - len(edges(faces)) + len(faces)


def handles(faces: Ints) -> int:
    """Handles (tunnels) of a closed mesh, all its pieces together: 0 for balls, 1 for a ring."""
    pieces = int(face_pieces(faces).max(initial=-1)) + 1
    return pieces - euler_number(faces) // 2


def face_pieces(faces: Ints) -> NDArray[np.int64]:
    """Number of the connected piece of every face, from 0, (m,)."""
    if not len(faces):
        return np.empty(0, np.int64)
    count = int(faces.max()) + 1
    pairs = (faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel())
    links = sparse.coo_array((np.ones(2 * len(faces)), pairs), shape=(count, count))
    _, labels = connected_components(links, directed=False)
    return np.unique(labels[faces[:, 0]], return_inverse=True)[1].astype(np.int64)


def largest_piece(vertices: Floats, faces: Ints) -> tuple[Floats, NDArray[np.int32]]:
    """The piece of the greatest volume (by absolute value), with its own vertices alone."""
    pieces = face_pieces(faces)
    if not pieces.any():
        return compacted(vertices, faces)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    six_fold = np.einsum("ij,ij->i", a, np.cross(b, c))
    volumes = np.abs(np.bincount(pieces, weights=six_fold))
    return compacted(vertices, faces[pieces == int(volumes.argmax())])


def compacted(vertices: Floats, faces: Ints) -> tuple[Floats, NDArray[np.int32]]:
    """The mesh without vertices that no face uses."""
    used, inverse = np.unique(faces, return_inverse=True)
    return vertices[used], inverse.reshape(-1, 3).astype(np.int32)


def is_closed(faces: Ints) -> bool:
    """Whether every edge belongs to just two faces that agree on the outside."""
    there = _directed_edges(faces)
    if not len(there):
        return False
    span = int(there.max()) + 1
    keys = np.sort(there[:, 0] * span + there[:, 1])
    back = np.sort(there[:, 1] * span + there[:, 0])
    return bool((keys[1:] > keys[:-1]).all() and (keys == back).all())


def mirrored(vertices: Floats, faces: Ints) -> tuple[Floats, Ints]:
    """The mesh mirrored in x; it still looks outward."""
    return vertices * [-1.0, 1.0, 1.0], faces[:, ::-1]


def smoothed(
    vertices: Floats, faces: Ints, passes: int, *, inward: float = 0.5, outward: float = 0.53
) -> Floats:
    """Smooth a mesh without shrinking it much (pairs of passes after Taubin 1995, from memory).

    Parameters
    ----------
    vertices, faces
        The mesh.
    passes
        How often the pair of steps is done.
    inward, outward
        How far a vertex goes toward the mean of its neighbors, and back.
    """
    mean = averaging_matrix(len(vertices), faces)
    places = vertices.copy()
    for _ in range(passes):
        places += inward * (mean @ places - places)
        places -= outward * (mean @ places - places)
    return places


def uneven_height_mm(vertices: Floats, faces: Ints) -> Floats:
    """How far each vertex stands out (positive) of the mean of its neighbors, (n,)."""
    mean = averaging_matrix(len(vertices), faces)
    away = vertices - mean @ vertices
    return np.einsum("ij,ij->i", away, vertex_normals(vertices, faces))


def _directed_edges(faces: Ints) -> NDArray[np.int64]:
    f = faces.astype(np.int64)
    return np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])


def _unit(rows: Floats) -> Floats:
    length = np.linalg.norm(rows, axis=1, keepdims=True)
    return rows / np.where(length > 0, length, 1.0)
