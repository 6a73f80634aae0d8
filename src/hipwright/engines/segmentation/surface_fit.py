"""Moving a start mesh to the edge of the bone in the gray values."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from hipwright.domain.volume import LabelVolume, Volume, VolumeGrid
from hipwright.engines.geometry.meshes import averaging_matrix, vertex_normals
from hipwright.engines.segmentation.edge_fit import COARSE, FINE, EdgeFit, EdgeSearch, fit_edges
from hipwright.engines.segmentation.edge_model import EdgeLevels
from hipwright.engines.segmentation.edge_profiles import other_bone_mm, profiles_along
from hipwright.engines.segmentation.edge_smoothing import Displacement, smooth_displacement
from hipwright.engines.segmentation.segmentation import GapSurface

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

_COARSE_AT = np.arange(-3.6, 3.61, 0.4)
_FINE_AT = np.arange(-2.7, 2.41, 0.3)
_OTHER_AT = np.arange(0.0, 4.7, 0.35)
_GAP_PAD_MM = 0.12  # either bone stays that far from the middle of the joint gap
_CLAMP_MM = (
    2.5  # whatever is farther beyond the gap, as the trochanter is, has nothing to do with it
)
_FACING, _NEAR_MM = 0.3, 4.0  # a gap that a normal does not look at tells nothing
_SMOOTH_NORMALS = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedMesh:
    """A mesh at the edge of its bone, and how well it fits.

    ``near`` are the vertices that look at voxels of another bone.
    """

    vertices: Floats = field(repr=False)
    faces: Faces = field(repr=False)
    fit: EdgeFit
    displacement: Displacement
    near: NDArray[np.bool_] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeScene:
    """What the edge of one bone is looked for in."""

    volume: Volume
    labels: LabelVolume
    code: int
    levels: EdgeLevels
    gap: GapSurface | None
    inside_gap: bool

    def read(self, points: Floats, normals: Floats, at_mm: Floats) -> NDArray[np.float32]:
        """Gray values along normals."""
        return profiles_along(self.volume.values, self.volume.grid, points, normals, at_mm)

    def fitted(
        self,
        points: Floats,
        normals: Floats,
        other_mm: Floats,
        at_mm: Floats,
        search: EdgeSearch,
    ) -> EdgeFit:
        """Fit the edge along the normals of points."""
        return fit_edges(
            self.read(points, normals, at_mm),
            at_mm,
            self.levels,
            (normals @ slice_normal(self.volume.grid)) ** 2,
            other_mm,
            self.middle_mm(points, normals),
            search,
        )

    def other_mm(self, points: Floats, normals: Floats) -> Floats:
        """Where along the normals another bone's voxels begin, (n,)."""
        codes, grid = self.labels.codes, self.labels.grid
        return other_bone_mm(codes, grid, points, normals, _OTHER_AT, self.code)

    def middle_mm(self, points: Floats, normals: Floats) -> Floats:
        """Where along the normals the middle of the joint gap lies, (n,); infinite where none.

        By two steps of Newton along the normal.
        """
        if self.gap is None:
            return np.full(len(points), np.inf)
        sign = 1.0 if self.inside_gap else -1.0
        way = -sign * self.gap.beyond_mm(points)
        from_center = points - self.gap.center_mm
        radial = from_center / np.maximum(np.linalg.norm(from_center, axis=1, keepdims=True), 1e-9)
        along = sign * np.einsum("ij,ij->i", radial, normals)
        facing = np.isfinite(way) & (along > _FACING) & (np.abs(way) < _NEAR_MM)
        return np.where(facing, way / np.maximum(along, _FACING), np.inf)

    def clamped(self, points: Floats) -> Floats:
        """Points moved to their own side of the joint gap where they are beyond it."""
        if self.gap is None:
            return points
        sign = 1.0 if self.inside_gap else -1.0
        beyond = self.gap.beyond_mm(points)
        over = np.where(np.isfinite(beyond), sign * beyond + _GAP_PAD_MM, 0.0)
        over = np.where(over < _CLAMP_MM, over, 0.0)
        from_center = points - self.gap.center_mm
        radial = from_center / np.maximum(np.linalg.norm(from_center, axis=1, keepdims=True), 1e-9)
        return points - sign * np.maximum(over, 0.0)[:, None] * radial


def slice_normal(grid: VolumeGrid) -> Floats:
    """Unit normal of the slices."""
    normal = np.cross(grid.steps_mm[1], grid.steps_mm[2])
    return normal / np.linalg.norm(normal)


def smooth_normals(
    vertices: Floats, faces: Faces, averaging: sparse.csr_array | None = None
) -> Floats:
    """Normals averaged over a few neighbors, so that steps of voxels do not turn them."""
    around = averaging_matrix(len(vertices), faces) if averaging is None else averaging
    normals = vertex_normals(vertices, faces)
    for _ in range(_SMOOTH_NORMALS):
        normals = normals + around @ normals
        normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)
    return normals


def fit_surface(scene: EdgeScene, vertices: Floats, faces: Faces) -> FittedMesh:
    """Move a start mesh to the edge: a wide search, then a fine one from there.

    Parameters
    ----------
    scene
        Volume, levels, joint gap.
    vertices, faces
        The start mesh, about a voxel from the edge.
    """
    averaging = averaging_matrix(len(vertices), faces)
    step = scene.levels.step_hu
    places = scene.clamped(vertices)
    fit, displacement, other = None, None, None
    for at, search, limit in ((_COARSE_AT, COARSE, 2.0), (_FINE_AT, FINE, 0.85)):
        normals = smooth_normals(places, faces, averaging)
        other = scene.other_mm(places, normals)
        fit = scene.fitted(places, normals, other, at, search)
        displacement = smooth_displacement(fit, averaging, step_hu=step, limit_mm=limit)
        places = scene.clamped(places + displacement.by_mm[:, None] * normals)
    return FittedMesh(
        vertices=places, faces=faces, fit=fit, displacement=displacement, near=np.isfinite(other)
    )
