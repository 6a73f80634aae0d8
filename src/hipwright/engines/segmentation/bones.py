"""From labels to bone models: closed surfaces at the bones' edges, with their quality."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import (
    Bone,
    BoneModel,
    BoneQuality,
    Remark,
    Severity,
    Surface,
)
from hipwright.domain.volume import LabelVolume, Volume
from hipwright.engines.geometry.mesh_rays import first_hits_mm
from hipwright.engines.geometry.meshes import handles, vertex_normals
from hipwright.engines.segmentation.checks_bones import remarks_on
from hipwright.engines.segmentation.checks_edges import edge_figures
from hipwright.engines.segmentation.edge_blur import LevelsSeen
from hipwright.engines.segmentation.edge_levels import levels_of, measured_levels, told_levels
from hipwright.engines.segmentation.segmentation import Segmentation
from hipwright.engines.segmentation.surface_finish import FinishedMesh, finished
from hipwright.engines.segmentation.surface_fit import EdgeScene, FittedMesh, fit_surface
from hipwright.engines.segmentation.surface_parting import Neighbor, parted
from hipwright.engines.segmentation.surface_start import StartMesh, start_mesh

Floats = NDArray[np.float64]
Progress = Callable[[float], None]

MODELED = (
    Bone.HIP_BONE_RIGHT,
    Bone.HIP_BONE_LEFT,
    Bone.FEMUR_RIGHT,
    Bone.FEMUR_LEFT,
    Bone.TIBIA_RIGHT,
    Bone.TIBIA_LEFT,
)
RINGS = frozenset({Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT})
"""Bones around a foramen: one tunnel is their own."""

_RAYS = 4000  # that look for the thinnest place


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Work:
    """One bone on its way."""

    bone: Bone
    start: StartMesh
    mesh: FittedMesh
    bridges: int = 0


def bone_models(
    volume: Volume, segmentation: Segmentation, *, progress: Progress | None = None
) -> tuple[tuple[BoneModel, ...], tuple[Remark, ...]]:
    """Make the surface of every hip bone, femur and tibia of a segmentation.

    Parameters
    ----------
    volume
        The scan.
    segmentation
        Its labels, levels and joint gaps. Without gaps (a knee, labels painted by hand)
        bones are kept apart by their labels alone.
    progress
        Is told the share that is done, from 0 to 1.

    Returns
    -------
    tuple
        The models, in the order of their codes, and what was noticed making them. What
        the finished bones look like is for the checks to judge.
    """
    tell = progress or _silent
    labels = segmentation.labels
    starts = {
        bone: start
        for bone in segmentation.bones
        if bone in MODELED and (start := start_mesh(labels, bone.code, ring=bone in RINGS))
    }
    tell(0.25)
    thick_first = sorted(starts, key=lambda bone: (bone in RINGS, bone.code))
    seen = levels_of(
        volume,
        labels,
        [(bone.code, starts[bone]) for bone in thick_first],
        told_levels(segmentation.levels),
    )
    work: list[_Work] = []
    for number, (bone, start) in enumerate(starts.items(), start=1):
        gap = segmentation.gap_of(bone)
        scene = EdgeScene(
            volume=volume,
            labels=labels,
            code=bone.code,
            levels=seen.levels,
            gap=gap,
            inside_gap=gap is not None and bone is gap.femur,
        )
        mesh = fit_surface(scene, start.vertices, start.faces)
        work.append(_Work(bone=bone, start=start, mesh=mesh))
        tell(0.25 + 0.55 * number / len(starts))
    models: list[BoneModel] = []
    remarks: list[Remark] = []
    for one in _kept_apart(work):
        model = _model(volume, segmentation, one, seen)
        models.append(model)
        remarks.extend(_remarks(one, labels))
        levels = seen.levels
        edges = edge_figures(volume, model, step_hu=levels.step_hu, soft_hu=levels.soft_hu)
        remarks.extend(remarks_on(one.bone, edges))
        tell(0.8 + 0.2 * len(models) / len(work))
    return tuple(models), tuple(remarks)


def bones_from_labels(
    volume: Volume, labels: LabelVolume, *, part: str = "", progress: Progress | None = None
) -> tuple[tuple[BoneModel, ...], tuple[Remark, ...]]:
    """The same as :func:`bone_models` from labels alone, such as painted ones."""
    told = Segmentation(labels=labels, levels=measured_levels(volume, labels), part=part)
    return bone_models(volume, told, progress=progress)


def _silent(share: float) -> None:
    """Tell nobody."""


def _kept_apart(work: list[_Work]) -> list[_Work]:
    kept = list(work)
    for i, j in combinations(range(len(kept)), 2):
        first, second = kept[i], kept[j]
        a, b, bridges = parted(_neighbor(first.mesh), _neighbor(second.mesh))
        kept[i] = _with(first, a, bridges[0])
        kept[j] = _with(second, b, bridges[1])
    return kept


def _neighbor(mesh: FittedMesh) -> Neighbor:
    return Neighbor(vertices=mesh.vertices, faces=mesh.faces, near=mesh.near)


def _with(one: _Work, vertices: Floats, bridges: int) -> _Work:
    mesh = replace(one.mesh, vertices=vertices)
    return replace(one, mesh=mesh, bridges=one.bridges + bridges)


def _model(volume: Volume, segmentation: Segmentation, one: _Work, seen: LevelsSeen) -> BoneModel:
    mesh = finished(one.mesh.vertices, one.mesh.faces, volume.grid, one.start.cuts)
    rising = volume.grid.steps_mm[0, 2] > 0
    low, high = one.start.cuts[0] if rising else one.start.cuts[0, ::-1]
    return BoneModel(
        bone=one.bone,
        surface=Surface(vertices=mesh.vertices, faces=mesh.faces, frame=volume.grid.frame),
        quality=_quality(one, mesh, seen),
        part=segmentation.part,
        cut_low=bool(low),
        cut_high=bool(high),
    )


def _quality(one: _Work, mesh: FinishedMesh, seen: LevelsSeen) -> BoneQuality:
    fit, kept = one.mesh.fit, one.mesh.displacement.kept
    own = float(np.median(fit.sd_mm[kept])) if kept.any() else 1.0
    return BoneQuality(
        edge_sd_mm=float(np.hypot(own, one.mesh.displacement.scatter_mm)),
        edge_bias_sd_mm=seen.bias_sd_mm,
        rejected_share=float(1.0 - kept.mean()),
        deviation_mm=mesh.deviation_mm,
        smallest_thickness_mm=_thinnest_mm(mesh),
        bridges=one.bridges,
        tunnels=max(0, handles(mesh.faces) - (one.bone in RINGS)),
    )


def _thinnest_mm(mesh: FinishedMesh) -> float:
    every = max(1, len(mesh.vertices) // _RAYS)
    inward = -vertex_normals(mesh.vertices, mesh.faces)[::every]
    starts = mesh.vertices[::every] + 1e-3 * inward
    through = first_hits_mm(mesh.vertices, mesh.faces, starts, inward)
    return float(np.nanmin(through)) + 1e-3


def _remarks(one: _Work, labels: LabelVolume) -> list[Remark]:
    found: list[Remark] = []
    words = one.bone.words
    if one.start.filled_tunnels:
        count = one.start.filled_tunnels
        what = "small tunnels" if count > 1 else "small tunnel"
        found.append(
            Remark(
                code="tunnels_closed",
                severity=Severity.NOTE,
                text=f"{words}: {count} {what} through the labels closed.",
                bone=one.bone,
                figure=float(count),
                unit="1",
            )
        )
    if one.start.dropped_mm3 > 100 * labels.grid.voxel_mm3:
        found.append(
            Remark(
                code="specks_dropped",
                severity=Severity.NOTE,
                text=f"{words}: pieces of {one.start.dropped_mm3:.0f} mm³ apart from it left out.",
                bone=one.bone,
                figure=one.start.dropped_mm3,
                unit="mm3",
            )
        )
    return found
