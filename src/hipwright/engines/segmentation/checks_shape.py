"""Figures of one finished bone: one solid, of the right size and side, with head and neck."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hipwright.domain.anatomy import BoneModel
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.canonical import right_sign
from hipwright.engines.anatomy.femur_head import BoneMesh, seek_head
from hipwright.engines.geometry.mesh_sections import plane_section_mm, section_area_mm2
from hipwright.engines.geometry.mesh_solid import filled_share, solid_grid
from hipwright.engines.geometry.meshes import (
    Floats,
    face_pieces,
    handles,
    is_closed,
    volume_mm3,
)
from hipwright.engines.geometry.spheres import SphereFit

_CELL_MM = 1.0
_SURROUNDINGS_MM = 2.2
_LID_MM = 6.0  # so far from a lid surroundings tell nothing
_HEAD_CONE = 0.35  # cosine to the neck: what lies farther from the neck is head
_NEAR_SPHERE = 0.12  # of the radius: what stands farther off is no head
_TRIMMED = 0.04  # share of the head's places left out on either side: the fovea
_NECK_STATIONS = np.linspace(0.75, 1.6, 18)  # in head radii from the head's center
_NECK_REACH = 1.75  # in head radii: how far pits are looked for
_TALL_MM = 120.0  # a hip bone this tall shows wing and pubis
_SHAFT_BELOW_MM = (35.0, 60.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemoralHead:
    """The head of a femur, and the direction in which the neck leaves it."""

    sphere: SphereFit
    neck: Floats


def solid_figures(model: BoneModel) -> Mapping[str, float]:
    """Closed, pieces, handles, span; length and volume of a bone that no lid cuts."""
    vertices, faces = model.surface.vertices, model.surface.faces
    closed = is_closed(faces) and volume_mm3(vertices, faces) > 0
    figures = {
        "closed": float(closed),
        "span_mm": float(np.ptp(vertices, axis=0).max()) if len(vertices) else 0.0,
    }
    if closed:
        figures["pieces"] = float(face_pieces(faces).max() + 1)
        figures["handles"] = float(handles(faces))
    if closed and not (model.cut_low or model.cut_high) and not model.part:
        figures["whole_length_mm"] = _longest_mm(vertices)
        figures["whole_volume_cm3"] = volume_mm3(vertices, faces) / 1000.0
    return figures


def making_figures(model: BoneModel) -> Mapping[str, float]:
    """What the quality of its making says."""
    quality = model.quality
    return {
        "rejected_share": quality.rejected_share,
        "edge_sd_mm": quality.edge_sd_mm,
        "edge_bias_sd_mm": quality.edge_bias_sd_mm,
        "bridges": float(quality.bridges),
    }


def head_of(model: BoneModel) -> FemoralHead | None:
    """Find the head of a femur, ``None`` where nothing is round enough."""
    vertices, faces = model.surface.vertices, model.surface.faces
    try:
        sphere = seek_head(BoneMesh.of(vertices, faces))
    except DegenerateGeometryError:
        return None
    out = vertices - sphere.center
    away = np.linalg.norm(out, axis=1)
    ring = (away > 1.25 * sphere.radius) & (away < 1.9 * sphere.radius)
    if not ring.any():
        return None
    neck = out[ring].mean(axis=0)
    return FemoralHead(sphere=sphere, neck=neck / np.linalg.norm(neck))


def head_figures(model: BoneModel, head: FemoralHead | None) -> Mapping[str, float]:
    """How round the head is, how thin the neck gets, and whether there are pits."""
    if head is None:
        return {"head_seen_share": 0.0}
    mesh = BoneMesh.of(model.surface.vertices, model.surface.faces)
    center, radius = head.sphere.center, head.sphere.radius
    out = mesh.vertices - center
    away = np.linalg.norm(out, axis=1)
    to_neck = (out @ head.neck) / np.maximum(away, 1e-9)
    on = np.abs(away - radius) < _NEAR_SPHERE * radius
    cap = (to_neck < _HEAD_CONE) & (away < 1.3 * radius)
    figures = {
        "head_seen_share": float(mesh.areas_mm2[on].sum() / (4 * np.pi * radius**2)),
        "neck_share": _neck_share(model, head),
    }
    if (cap & on).sum() > 50:  # noqa: PLR2004 (places: enough for the six numbers of an oval)
        figures |= _roundness(out[cap], away[cap], mesh.areas_mm2[cap], radius)
    return figures


def surroundings_figures(model: BoneModel, head: FemoralHead | None) -> Mapping[str, float]:
    """The emptiest and, about a head and neck, the fullest surroundings of a place."""
    vertices, faces = model.surface.vertices, model.surface.faces
    share = filled_share(solid_grid(vertices, faces, _CELL_MM), vertices, _SURROUNDINGS_MM)
    level = vertices[:, 2]
    clear = np.ones(len(vertices), dtype=bool)
    if model.cut_low:
        clear &= level > level.min() + _LID_MM
    if model.cut_high:
        clear &= level < level.max() - _LID_MM
    figures = {"spike_share": float(share[clear].min())} if clear.any() else {}
    if head is not None:
        out = vertices - head.sphere.center
        away = np.linalg.norm(out, axis=1)
        along = out @ head.neck
        aside = np.linalg.norm(out - along[:, None] * head.neck, axis=1)
        near = clear & (away < _NECK_REACH * head.sphere.radius)
        near &= aside < 1.05 * head.sphere.radius
        if near.any():
            figures["pit_share"] = float(share[near].max())
    return figures


def side_figures(model: BoneModel, head: FemoralHead | None) -> Mapping[str, float]:
    """How far toward the middle of the body lies what should: the head, or the pubis."""
    side = model.bone.side
    if side is None or model.part:
        return {}
    vertices = model.surface.vertices
    level = vertices[:, 2]
    if head is not None:
        below = head.sphere.center[2] - level
        shaft = (below > _SHAFT_BELOW_MM[0]) & (below < _SHAFT_BELOW_MM[1])
        if not shaft.any():
            return {}
        across = head.sphere.center[0] - vertices[shaft, 0].mean()
    elif model.bone.value.startswith("hip_bone") and np.ptp(level) > _TALL_MM:
        upper = level > level.max() - 0.3 * np.ptp(level)
        lower = level < level.min() + 0.45 * np.ptp(level)
        front = lower & (vertices[:, 1] < np.percentile(vertices[lower, 1], 12))
        across = vertices[front, 0].mean() - vertices[upper, 0].mean()
    else:
        return {}
    return {"medial_mm": float(right_sign(side) * across)}


def _longest_mm(vertices: Floats) -> float:
    axis = np.linalg.svd(np.cov((vertices - vertices.mean(axis=0)).T))[0][:, 0]
    return float(np.ptp(vertices @ axis))


def _roundness(out: Floats, away: Floats, areas: Floats, radius: float) -> Mapping[str, float]:
    """Spread about the sphere without its rarest places, and how far its axes differ."""
    off = away - radius
    low, high = np.quantile(off, [_TRIMMED, 1 - _TRIMMED])
    most = (off >= low) & (off <= high)
    kept = most & (np.abs(off) < _NEAR_SPHERE * radius)
    x, y, z = (out[kept] / away[kept, None]).T
    root = np.sqrt(areas[kept])
    design = np.column_stack(
        [np.ones(len(x)), x, y, z, x * x - z * z, y * y - z * z, x * y, x * z, y * z]
    )
    answer = np.linalg.lstsq(design * root[:, None], off[kept] * root, rcond=None)[0]
    a, b, xy, xz, yz = answer[4:]
    form = np.array([[a, xy / 2, xz / 2], [xy / 2, b, yz / 2], [xz / 2, yz / 2, -a - b]])
    spread = float(np.ptp(np.linalg.eigvalsh(form)))
    rms = float(np.sqrt(np.average(off[most] ** 2, weights=areas[most])))
    return {"head_rms_mm": rms, "head_ellipticity": spread / radius}


def _neck_share(model: BoneModel, head: FemoralHead) -> float:
    """Smallest section across the neck's way against the head's great circle."""
    smallest = np.inf
    center, radius = head.sphere.center, head.sphere.radius
    for station in _NECK_STATIONS:
        point = center + station * radius * head.neck
        outlines = plane_section_mm(model.surface.vertices, model.surface.faces, point, head.neck)
        solid = 0.0
        for outline in outlines:
            if np.linalg.norm(outline.mean(axis=0) - point) < radius:
                solid += section_area_mm2(outline, head.neck)
        smallest = min(smallest, solid)
    return float(smallest / (np.pi * radius**2))
