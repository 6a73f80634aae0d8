"""How far two surfaces lie apart: an own reckoning, apart from the engines' ones.

A place's nearest triangle is sought among those that nearby samples of the other surface lie
on; the distance to it is exact. Places are scattered evenly over the area, so that a mesh's
own density does not weigh.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.spatial import cKDTree

SAMPLES = 60_000
PER_MM2 = 4.0
NEAREST = 8
TIE_MM = 0.01
SMALL_MM2 = 0.1


@njit(cache=True, nogil=True, error_model="numpy")
def _nearest_on(p, a, b, c):  # noqa: PLR0911 (a triangle has seven regions)
    """Nearest place of a triangle; by the regions of its corners, edges and face."""
    ab, ac, ap = b - a, c - a, p - a
    d1, d2 = np.dot(ab, ap), np.dot(ac, ap)
    if d1 <= 0.0 and d2 <= 0.0:
        return a
    bp = p - b
    d3, d4 = np.dot(ab, bp), np.dot(ac, bp)
    if d3 >= 0.0 and d4 <= d3:
        return b
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        return a + ab * (d1 / (d1 - d3))
    cp = p - c
    d5, d6 = np.dot(ab, cp), np.dot(ac, cp)
    if d6 >= 0.0 and d5 <= d6:
        return c
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        return a + ac * (d2 / (d2 - d6))
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and (d4 - d3) >= 0.0 and (d5 - d6) >= 0.0:
        return b + (c - b) * ((d4 - d3) / ((d4 - d3) + (d5 - d6)))
    total = va + vb + vc
    if total == 0.0:
        return a
    return a + ab * (vb / total) + ac * (vc / total)


@njit(cache=True, nogil=True, error_model="numpy")
def _distances(points, vertices, faces, candidates):
    out = np.empty(len(points))
    for i in range(len(points)):
        best = 1e18
        for k in range(candidates.shape[1]):
            f = candidates[i, k]
            a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
            away = points[i] - _nearest_on(points[i], a, b, c)
            far = np.sqrt(np.dot(away, away))
            if far < best:  # noqa: PLR1730 (NaN of a triangle without area must not win)
                best = far
        sign, facing = 1.0, -1.0
        for k in range(candidates.shape[1]):
            f = candidates[i, k]
            a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
            away = points[i] - _nearest_on(points[i], a, b, c)
            if not np.sqrt(np.dot(away, away)) <= best + TIE_MM:
                continue
            # on an edge several triangles are as near: the one that faces the point tells,
            # and a small folded one has little say
            n = np.cross(b - a, c - a)
            area = np.sqrt(np.dot(n, n))
            toward = np.dot(away, n) / max(area, 1e-18) * min(area, SMALL_MM2)
            if abs(toward) > facing:
                facing = abs(toward)
                sign = 1.0 if toward >= 0.0 else -1.0
        out[i] = sign * best
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _windings(points, vertices, faces):
    """How often a surface goes around each point, by the solid angles of its triangles."""
    out = np.zeros(len(points))
    for i in range(len(points)):
        total = 0.0
        for f in range(len(faces)):
            a = vertices[faces[f, 0]] - points[i]
            b = vertices[faces[f, 1]] - points[i]
            c = vertices[faces[f, 2]] - points[i]
            la, lb, lc = np.sqrt(np.dot(a, a)), np.sqrt(np.dot(b, b)), np.sqrt(np.dot(c, c))
            over = np.dot(a, np.cross(b, c))
            under = la * lb * lc + np.dot(a, b) * lc + np.dot(b, c) * la + np.dot(c, a) * lb
            total += 2.0 * np.arctan2(over, under)
        out[i] = total / (4.0 * np.pi)
    return out


def scattered(vertices, faces, count: int, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Places evenly over the area, (n, 3), and the triangle of each."""
    rng = np.random.default_rng(seed)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    face = np.searchsorted(np.cumsum(area), rng.random(count) * area.sum())
    face = np.minimum(face, len(faces) - 1)
    u, v = np.sqrt(rng.random(count))[:, None], rng.random(count)[:, None]
    places = (1 - u) * a[face] + u * (1 - v) * b[face] + u * v * c[face]
    return places, face


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """A surface that distances are asked of."""

    vertices: np.ndarray
    faces: np.ndarray
    places: np.ndarray
    tree: cKDTree
    face_of: np.ndarray

    @classmethod
    def of(cls, surface) -> Sheet:
        """Prepare a surface with vertices and faces."""
        vertices = np.ascontiguousarray(surface.vertices, dtype=np.float64)
        faces = np.ascontiguousarray(surface.faces, dtype=np.int64)
        a, b, c = (vertices[faces[:, k]] for k in range(3))
        area = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2
        count = int(np.clip(PER_MM2 * area, 20_000, 400_000))
        dense, face = scattered(vertices, faces, count)
        at = np.concatenate([dense, (a + b + c) / 3])
        return cls(
            vertices=vertices,
            faces=faces,
            places=dense[:SAMPLES],
            tree=cKDTree(at),
            face_of=np.concatenate([face, np.arange(len(faces))]),
        )

    def distances(self, points: np.ndarray, reach: float = np.inf) -> np.ndarray:
        """Signed distances of points, (n,) mm: outside positive; beyond ``reach`` infinite."""
        _, found = self.tree.query(points, k=NEAREST, distance_upper_bound=reach)
        found = np.asarray(found)
        known = found[:, 0] < len(self.face_of)
        out = np.full(len(points), np.inf)
        near = np.minimum(found[known], len(self.face_of) - 1)
        out[known] = _distances(
            np.ascontiguousarray(points[known]), self.vertices, self.faces, self.face_of[near]
        )
        return out

    def are_inside(self, points: np.ndarray) -> np.ndarray:
        """Whether points lie inside, (n,), by winding numbers: slow and certain."""
        where = np.ascontiguousarray(points, dtype=np.float64)
        return _windings(where, self.vertices, self.faces) > 0.5
