"""Finishing a bone's mesh: flat lids where the scan cuts the bone, and fewer triangles."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import SurfaceError
from hipwright.domain.volume import VolumeGrid
from hipwright.engines.geometry.mesh_distance import closest_on_mesh
from hipwright.engines.geometry.meshes import largest_piece

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]
Flags = NDArray[np.bool_]

TOLERANCE_MM = 0.04
_LOOKED_AT = 20000  # places whose deviation is measured


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FinishedMesh:
    """A closed mesh with lids, and how far thinning moved it at most."""

    vertices: Floats = field(repr=False)
    faces: Faces = field(repr=False)
    deviation_mm: float


def finished(vertices: Floats, faces: Faces, grid: VolumeGrid, cuts: Flags) -> FinishedMesh:
    """Cut a mesh flat at the outermost voxels of the scan and thin it.

    Parameters
    ----------
    vertices, faces
        A closed mesh that goes on beyond the scan where ``cuts`` says so.
    grid
        Of the scan.
    cuts
        By array axis and end, (3, 2).

    Raises
    ------
    SurfaceError
        The mesh encloses nothing.
    """
    from manifold3d import Error, Manifold, Mesh64

    solid: Any = Manifold(Mesh64(vertices, np.ascontiguousarray(faces, dtype=np.uint64)))
    if solid.status() != Error.NoError:
        raise SurfaceError(
            "cannot finish the surface of a bone",
            found=f"a mesh that is no solid ({solid.status()})",
            needed="a closed mesh",
            next_step="Look at the labels of this bone on the slices.",
        )
    planes = _end_planes(grid, cuts)
    for normal, offset in planes:
        solid = solid.trim_by_plane(normal, offset)
    before = vertices[_within(vertices, planes)]
    solid = solid.simplify(TOLERANCE_MM)
    mesh = solid.to_mesh64()
    thin_vertices = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3]
    thin_faces = np.asarray(mesh.tri_verts, dtype=np.int32)
    if not len(thin_faces):
        raise SurfaceError(
            "cannot finish the surface of a bone",
            found="nothing left within the scan",
            needed="a closed mesh",
            next_step="Look at the labels of this bone on the slices.",
        )
    thin_vertices, thin_faces = largest_piece(thin_vertices, thin_faces)
    looked_at = before[:: max(1, len(before) // _LOOKED_AT)]
    away = closest_on_mesh(thin_vertices, thin_faces, looked_at).distances_mm
    return FinishedMesh(
        vertices=thin_vertices, faces=thin_faces, deviation_mm=float(away.max(initial=0.0))
    )


def _end_planes(grid: VolumeGrid, cuts: Flags) -> list[tuple[Floats, float]]:
    """Inward unit normal and height of the planes through the outermost voxels that cut."""
    planes: list[tuple[Floats, float]] = []
    last = np.array(grid.shape) - 1.0
    for axis in range(3):
        normal = np.cross(grid.steps_mm[(axis + 1) % 3], grid.steps_mm[(axis + 2) % 3])
        normal *= np.sign(normal @ grid.steps_mm[axis]) / np.linalg.norm(normal)
        for end, sign in ((0, 1.0), (1, -1.0)):
            if cuts[axis, end]:
                corner = grid.origin_mm if end == 0 else grid.to_mm(last)
                planes.append((sign * normal, float(sign * normal @ corner)))
    return planes


def _within(points: Floats, planes: list[tuple[Floats, float]]) -> Flags:
    inside = np.ones(len(points), dtype=bool)
    for normal, offset in planes:
        inside &= points @ normal > offset
    return inside
