"""Inner surfaces of bones that come with their outer surface only."""

import numpy as np
from scipy.spatial import cKDTree

from hipwright.phantoms.projection import Array
from hipwright.phantoms.surfaces import TriangleSurface

_LARGEST_BALL_MM = 30.0
_BALL_STEPS = 12
_LARGEST_SHARE = 0.62  # of the half thickness: the inner surface never turns inside out


def vertex_normals(surface: TriangleSurface) -> Array:
    """Give the outward unit normals of the vertices, weighted by area, shape (n, 3)."""
    a, b, c = (surface.vertices[surface.faces[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    normals = np.zeros_like(surface.vertices)
    for k in range(3):
        np.add.at(normals, surface.faces[:, k], across)
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)


def half_thickness_mm(surface: TriangleSurface) -> Array:
    """Give the radius of the largest ball that touches each vertex from inside, shape (n,).

    The ball shrinks until no other vertex lies in it; at most 30 mm.
    """
    points, normals = surface.vertices, vertex_normals(surface)
    tree = cKDTree(points)
    radius = np.full(len(points), _LARGEST_BALL_MM)
    active = np.arange(len(points))
    for _ in range(_BALL_STEPS):
        centers = points[active] - radius[active, None] * normals[active]
        distance, found = tree.query(centers)
        nearest = np.asarray(found, dtype=np.intp)
        inside = (distance < radius[active] * (1 - 1e-3)) & (nearest != active)
        active, nearest = active[inside], nearest[inside]
        if not len(active):
            break
        apart = points[active] - points[nearest]
        along = np.maximum(np.einsum("ij,ij->i", apart, normals[active]), 1e-6)
        radius[active] = np.minimum(radius[active], (apart**2).sum(axis=1) / (2 * along))
    return radius


def hollowed(surface: TriangleSurface, cortex_mm: Array | float) -> TriangleSurface:
    """Give the inner surface that leaves a cortex of that thickness.

    Parameters
    ----------
    surface
        Closed outer surface.
    cortex_mm
        Thickness, one number or one for every vertex; thinned where the bone
        itself is thin.
    """
    thickness = np.minimum(cortex_mm, _LARGEST_SHARE * half_thickness_mm(surface))
    vertices = surface.vertices - thickness[:, None] * vertex_normals(surface)
    return TriangleSurface(vertices=vertices, faces=surface.faces)
