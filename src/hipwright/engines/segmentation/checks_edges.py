"""Whether a finished surface lies on an edge of the scan, by a rule that knows no model of it.

Along each normal the gray values shall fall from bone to soft tissue within a millimeter;
where they do, the place of half the step is compared with the surface.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.sparse.csgraph import connected_components

from hipwright.domain.anatomy import BoneModel
from hipwright.domain.volume import Volume
from hipwright.engines.geometry.meshes import (
    Floats,
    face_areas_mm2,
    neighbor_matrix,
    vertex_normals,
)
from hipwright.engines.segmentation.edge_profiles import profiles_along

_AT_MM = np.arange(-2.4, 2.41, 0.3)
_REACH_MM = 1.3  # where inside and outside are read
_OVERLAP_MM = 0.4  # an edge this far off is still found
_LEAST_STEP = 0.14  # of the step from soft tissue to cortex
_LID_MM = 3.0


def edge_figures(
    volume: Volume, model: BoneModel, *, step_hu: float, soft_hu: float
) -> Mapping[str, float]:
    """Median offset of the half-way place, share and largest patch of surface without edge.

    Parameters
    ----------
    volume
        The scan.
    model
        The finished bone.
    step_hu, soft_hu
        From soft tissue to cortex, and soft tissue.
    """
    vertices, faces = model.surface.vertices, model.surface.faces
    index = volume.grid.to_indices(vertices) * volume.grid.spacing_mm
    last = (np.array(volume.grid.shape) - 1) * volume.grid.spacing_mm
    scanned = ((index > _LID_MM) & (index < last - _LID_MM)).all(axis=1)
    if not scanned.any():
        return {}
    values = profiles_along(
        volume.values, volume.grid, vertices, vertex_normals(vertices, faces), _AT_MM
    ).astype(np.float64)
    inner = values[:, (_AT_MM > -_REACH_MM) & (_AT_MM < _OVERLAP_MM)].max(axis=1)
    outer = values[:, (_AT_MM > -_OVERLAP_MM) & (_AT_MM < _REACH_MM)].min(axis=1)
    edge = (inner - outer > _LEAST_STEP * step_hu) & (inner > soft_hu + _LEAST_STEP * step_hu)
    area = _vertex_areas(len(vertices), faces, face_areas_mm2(vertices, faces))
    missing = scanned & ~edge
    offset = _half_way(values, inner, outer)
    known = scanned & edge & np.isfinite(offset)
    return {
        "edge_offset_mm": float(np.median(offset[known])) if known.any() else 0.0,
        "edge_missing_share": float(area[missing].sum() / area[scanned].sum()),
        "edge_missing_patch_mm2": _largest_patch(len(vertices), model, missing, area),
    }


def _half_way(values: Floats, inner: Floats, outer: Floats) -> Floats:
    """Where the profile, going outward, first falls through half of its step near the surface."""
    half = (inner + outer) / 2
    above = values >= half[:, None]
    falls = above[:, :-1] & ~above[:, 1:]
    middles = (_AT_MM[:-1] + _AT_MM[1:]) / 2
    cost = np.where(falls, np.abs(middles), np.inf)
    at = cost.argmin(axis=1)
    rows = np.arange(len(values))
    first, second = values[rows, at], values[rows, at + 1]
    share = (first - half) / np.maximum(first - second, 1e-6)
    place = _AT_MM[at] + share * (_AT_MM[1] - _AT_MM[0])
    return np.where(np.isfinite(cost[rows, at]), place, np.nan)


def _vertex_areas(count: int, faces: np.ndarray, areas: Floats) -> Floats:
    total = np.zeros(count)
    for k in range(3):
        total += np.bincount(faces[:, k], weights=areas / 3, minlength=count)
    return total


def _largest_patch(count: int, model: BoneModel, missing: np.ndarray, area: Floats) -> float:
    rows = np.flatnonzero(missing)
    if not len(rows):
        return 0.0
    graph = neighbor_matrix(count, model.surface.faces)[rows][:, rows]
    _, labels = connected_components(graph, directed=False)
    return float(np.bincount(labels, weights=area[rows]).max())
