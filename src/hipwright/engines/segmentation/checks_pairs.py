"""Figures of two finished bones: both sides compared, and the joint between two bones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from hipwright.domain.anatomy import BoneModel
from hipwright.engines.geometry.mesh_distance import closest_in_tree, signed_distances_mm
from hipwright.engines.geometry.mesh_tree import MeshTree, mesh_tree
from hipwright.engines.geometry.meshes import Floats, face_normals, mirrored
from hipwright.engines.segmentation.checks_shape import FemoralHead

_COVERED_MM = 9.0  # a place of the head this near to the hip bone is covered by it
_TIGHT_MM = 0.25
_PLACES = 2500
_ROUNDS = 14
_TRUSTED = 0.85  # share of the closest pairs that alignment goes by
_LID_MM = 8.0
_COMPARED_MM = {"femur": 95.0}  # below it, sides differ by their version
_WORST = 99.6  # percentile


def joint_figures(
    femur: BoneModel, hip_bone: BoneModel, head: FemoralHead | None
) -> Mapping[str, float]:
    """Smallest distance of a femur from a hip bone, and how much of the head is hardly apart."""
    places = femur.surface.vertices
    reach = hip_bone.surface.vertices
    near = ((places > reach.min(axis=0) - 1) & (places < reach.max(axis=0) + 1)).all(axis=1)
    if head is not None:
        away = np.linalg.norm(places - head.sphere.center, axis=1)
        near &= away < 2.5 * head.sphere.radius
    if not near.any():
        return {}
    gaps = signed_distances_mm(reach, hip_bone.surface.faces, places[near])
    figures = {"gap_smallest_mm": float(gaps.min())}
    covered = gaps < _COVERED_MM
    if covered.any():
        figures["gap_tight_share"] = float((gaps[covered] < _TIGHT_MM).mean())
        figures["gap_median_mm"] = float(np.median(gaps[covered]))
    return figures


def sides_figures(own: BoneModel, other: BoneModel) -> Mapping[str, float]:
    """A bone against the mirrored one of the other side, over the length that both have."""
    figures: dict[str, float] = {}
    span = _common_span(own, other)
    if span > 0:
        figures["volume_ratio"] = _volume_below_top(own, span) / _volume_below_top(other, span)
    figures["mirror_difference_mm"] = _mirror_difference_mm(own, other)
    return figures


def _common_span(own: BoneModel, other: BoneModel) -> float:
    """Length from the top that neither scan cuts, or all of it."""
    spans = [float(np.ptp(m.surface.vertices[:, 2])) for m in (own, other)]
    if own.cut_high or other.cut_high or own.cut_low or other.cut_low:
        return min(spans)
    return max(spans)


def _volume_below_top(model: BoneModel, span: float) -> float:
    from manifold3d import Manifold, Mesh64

    vertices = np.array(model.surface.vertices)
    solid: Any = Manifold(Mesh64(vertices, model.surface.faces.astype(np.uint64)))
    floor = float(vertices[:, 2].max()) - span - 1e-6
    return float(solid.trim_by_plane((0.0, 0.0, 1.0), floor).volume())


def _mirror_difference_mm(own: BoneModel, other: BoneModel) -> float:
    """How far the own bone stands off the mirrored other one, 99.6th percentile, both ways.

    The mirrored bone is laid onto the own one by its closest places (along their normals),
    the worst of them left out. Places near lids do not count.
    """
    vertices, faces = mirrored(other.surface.vertices, other.surface.faces)
    middle = own.surface.vertices.mean(axis=0)
    reach = _COMPARED_MM.get(own.bone.value.split("_")[0], np.inf)
    floor = own.surface.vertices[:, 2].max() - reach
    moved = vertices + _corner(own.surface.vertices, reach) - _corner(vertices, reach)
    tree = mesh_tree(own.surface.vertices, own.surface.faces)
    normals = face_normals(own.surface.vertices, own.surface.faces)
    rows = np.flatnonzero(moved[:, 2] > floor)
    rows = rows[:: max(1, len(rows) // _PLACES)]
    for _ in range(_ROUNDS):
        moved = _nearer(moved, rows, tree, normals, middle)
    back = mesh_tree(moved, faces)
    low, high = _clear_levels(own, moved, other)
    low = max(low, floor)
    worst = 0.0
    for points, target in ((moved, tree), (own.surface.vertices, back)):
        clear = (points[:, 2] > low) & (points[:, 2] < high)
        chosen = points[clear][:: max(1, int(clear.sum()) // (4 * _PLACES))]
        if len(chosen):
            away = closest_in_tree(target, chosen).distances_mm
            worst = max(worst, float(np.percentile(away, _WORST)))
    return worst


def _corner(vertices: Floats, reach: float) -> Floats:
    """Middle across of the upper part, top in height."""
    top = vertices[:, 2].max()
    return np.array([*vertices[vertices[:, 2] > top - reach, :2].mean(axis=0), top])


def _clear_levels(own: BoneModel, moved: Floats, other: BoneModel) -> tuple[float, float]:
    """The levels between which neither bone has a lid."""
    mine = own.surface.vertices[:, 2]
    low, high = -np.inf, np.inf
    for level, model in ((mine, own), (moved[:, 2], other)):
        if model.cut_low:
            low = max(low, float(level.min()) + _LID_MM)
        if model.cut_high:
            high = min(high, float(level.max()) - _LID_MM)
    return low, high


def _nearer(moved: Floats, rows: Any, tree: MeshTree, normals: Floats, middle: Floats) -> Floats:
    """One step of laying a mesh onto another: the small turn and shift that fit best."""
    places = moved[rows]
    found = closest_in_tree(tree, places)
    kept = found.distances_mm <= np.quantile(found.distances_mm, _TRUSTED)
    normal = normals[found.faces[kept]]
    arm = places[kept] - middle
    design = np.column_stack([np.cross(arm, normal), normal])
    height = np.einsum("ij,ij->i", found.points[kept] - places[kept], normal)
    answer: Floats = np.asarray(np.linalg.lstsq(design, height, rcond=None)[0], np.float64)
    from scipy.spatial.transform import Rotation

    turn = Rotation.from_rotvec(answer[:3])
    return turn.apply(moved - middle) + middle + answer[3:]
