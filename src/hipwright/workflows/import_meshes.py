"""Take in bones that were modeled elsewhere: unit, axes and bone declared, then checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import (
    Bone,
    BoneLandmarks,
    BoneModel,
    BoneQuality,
    Remark,
    Severity,
    Surface,
)
from hipwright.domain.errors import SurfaceError
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.keeping import Case
from hipwright.domain.keeping_bones import BoneBuild, BuildOrigin
from hipwright.domain.side import Side
from hipwright.engines.anatomy.femur_landmarks import HEAD_CENTER
from hipwright.workflows.bone_ports import BoneFiles, BoneMaker, MeshFiles
from hipwright.workflows.build_bones import kept_bone
from hipwright.workflows.ports import Clock, WorkspaceKeeper

Floats = NDArray[np.float64]


class MeshUnit(Enum):
    """The unit of a mesh's numbers."""

    MILLIMETER = "mm"
    CENTIMETER = "cm"
    METER = "m"

    @property
    def in_mm(self) -> float:
        """How many mm one is."""
        return {"mm": 1.0, "cm": 10.0, "m": 1000.0}[self.value]


class MeshAxes(Enum):
    """Which way a mesh's axes run: to the left, back and up, or to the right, forward and up."""

    LPS = "lps"
    RAS = "ras"


@dataclass(frozen=True, slots=True, kw_only=True)
class DeclaredMesh:
    """A file, and what whoever brings it says of it."""

    path: Path
    bone: Bone
    unit: MeshUnit
    axes: MeshAxes
    turn_outside_out: bool = False


LENGTHS_MM: dict[str, tuple[float, float]] = {
    "hip_bone": (120.0, 300.0),
    "femur": (60.0, 620.0),
    "tibia": (40.0, 520.0),
    "sacrum": (60.0, 220.0),
}
"""Longest side of the box around a bone of a grown-up, or of the part of a long bone that was
scanned (judgment, wide of published bone lengths)."""

WIDTHS_MM: dict[str, tuple[float, float]] = {
    "hip_bone": (60.0, 230.0),
    "femur": (40.0, 160.0),
    "tibia": (20.0, 130.0),
    "sacrum": (30.0, 180.0),
}
"""Middle side of the box."""

EDGE_SD_MM, EDGE_BIAS_SD_MM = 0.4, 0.3
"""How exact a mesh of unknown making is taken to be (judgment: a fixed threshold at 1 mm)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeshBench:
    """What meshes are taken in with."""

    reader: MeshFiles
    files: BoneFiles
    maker: BoneMaker
    clock: Clock
    software: str


def import_meshes(
    keeper: WorkspaceKeeper,
    case: Case,
    meshes: Sequence[DeclaredMesh],
    bench: MeshBench,
    *,
    by: str = "human:local",
) -> BoneBuild:
    """Take in the bones of one person as a build of their own.

    All meshes of one call lie in one frame. Nothing is kept unless every mesh passes.

    Raises
    ------
    SurfaceError
        A mesh is open, inside out, of an implausible size, of the other side or of another
        bone than was said, or one bone is declared twice.
    """
    _refuse_twice(meshes)
    build = keeper.new_id()
    frame = Frame(FrameKind.PATIENT_LPS, build)
    models = tuple(_model(mesh, bench, frame) for mesh in meshes)
    landmarks, remarks = bench.maker.landmarks(models)
    _refuse_other_bones(remarks)
    for model in models:
        _refuse_other_side(model, landmarks)
    said = Remark(
        code="meshes.exactness",
        severity=Severity.NOTE,
        text="Made elsewhere: how exact the surfaces are is not known and was taken as "
        f"{EDGE_SD_MM} mm, with {EDGE_BIAS_SD_MM} mm for the whole bone.",
        figure=EDGE_SD_MM,
        unit="mm",
    )
    judged = bench.maker.judged(models, ())
    return keeper.add_bone_build(
        BoneBuild(
            id=build,
            person=case.person,
            number=0,  # given by the keeper
            origin=BuildOrigin.MESHES,
            images=(),
            bones=tuple(kept_bone(keeper, bench.files, model) for model in models),
            landmarks=landmarks,
            remarks=tuple(dict.fromkeys((said, *remarks, *judged))),
            labels_file="",
            edits_file="",
            software=bench.software,
            by=by,
            made_at=bench.clock.now(),
        )
    )


def _model(declared: DeclaredMesh, bench: MeshBench, frame: Frame) -> BoneModel:
    read = bench.reader.read(declared.path)
    vertices = read.vertices * declared.unit.in_mm
    if declared.axes is MeshAxes.RAS:
        vertices = vertices * [-1.0, -1.0, 1.0]  # a half turn: no mirror, so triangles stay
    surface = Surface(vertices=vertices, faces=read.faces, frame=frame)
    _refuse_open(surface, declared)
    if surface.volume_mm3 < 0:
        if not declared.turn_outside_out:
            raise _refused(
                declared,
                "a mesh whose triangles look inward",
                "triangles that look outward",
                "Give --turn-outside-out if it is one bone, only inside out; export it again "
                "if it was mirrored.",
            )
        surface = replace(surface, faces=surface.faces[:, ::-1])
    _refuse_size(surface, declared)
    return BoneModel(
        bone=declared.bone,
        surface=surface,
        quality=BoneQuality(edge_sd_mm=EDGE_SD_MM, edge_bias_sd_mm=EDGE_BIAS_SD_MM),
    )


def _refuse_twice(meshes: Sequence[DeclaredMesh]) -> None:
    declared = [mesh.bone for mesh in meshes]
    twice = next((mesh for mesh in meshes if declared.count(mesh.bone) > 1), None)
    if twice is not None or not meshes:
        found = "no mesh" if twice is None else f"two meshes declared as {twice.bone.value}"
        raise SurfaceError(
            "cannot take in the meshes",
            found=found,
            needed="one mesh a bone",
            next_step="Say which bone each file is, in the order of the files.",
            field="bone",
        )


def _refuse_open(surface: Surface, declared: DeclaredMesh) -> None:
    if surface.is_closed:
        return
    f = surface.faces.astype(np.int64)
    edges = np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=1)
    _, uses = np.unique(edges, axis=0, return_counts=True)
    borders, crossings = int((uses == 1).sum()), int((uses > 2).sum())  # noqa: PLR2004 (an edge has two sides)
    found = (
        f"{borders} edges at holes and {crossings} where more than two triangles meet"
        if borders or crossings
        else "triangles that do not agree on the outside"
    )
    raise _refused(
        declared,
        found,
        "a closed surface",
        "Close the holes where it was made, then export it again.",
    )


def _refuse_size(surface: Surface, declared: DeclaredMesh) -> None:
    kind = _kind(declared.bone)
    if kind not in LENGTHS_MM:
        return
    middle, longest = np.sort(_box_mm(surface))[1:]
    if _fits(longest, LENGTHS_MM[kind]) and _fits(middle, WIDTHS_MM[kind]):
        return
    low, high = LENGTHS_MM[kind]
    other = next(
        (
            unit
            for unit in MeshUnit
            if unit is not declared.unit
            and _fits(longest / declared.unit.in_mm * unit.in_mm, LENGTHS_MM[kind])
            and _fits(middle / declared.unit.in_mm * unit.in_mm, WIDTHS_MM[kind])
        ),
        None,
    )
    hint = (
        f"Its numbers look like {other.value}: give --unit {other.value}."
        if other
        else "Check the unit and which bone it is."
    )
    raise _refused(
        declared,
        f"a mesh of {longest:.4g} by {middle:.4g} mm",
        f"{low:.0f} to {high:.0f} mm for a {kind.replace('_', ' ')}",
        hint,
    )


def _box_mm(surface: Surface) -> Floats:
    """Sides of the box along the mesh's own main directions."""
    centered = surface.vertices - surface.vertices.mean(axis=0)
    _, directions = np.linalg.eigh(centered.T @ centered)
    return np.ptp(centered @ directions, axis=0)


def _fits(length: float, limits: tuple[float, float]) -> bool:
    return limits[0] <= length <= limits[1]


def _refuse_other_bones(remarks: Sequence[Remark]) -> None:
    """Stop where the landmarks' search says that it is not the bone, such as a knee."""
    refusal = next((r for r in remarks if r.severity is Severity.REFUSAL), None)
    if refusal is not None:
        name = "a mesh" if refusal.bone is None else refusal.bone.value
        raise SurfaceError(
            f"cannot take in {name}",
            found="another bone, another side, or only a part",
            needed="the bone that was declared, with its hip end",
            next_step=refusal.text,
            field="bone",
        )


MEDIAL_MM = 3.0
"""Less than this tells no side (judgment)."""


def _refuse_other_side(model: BoneModel, landmarks: BoneLandmarks) -> None:
    """Stop before a bone that lies like one of the other side.

    A femur's head, and a hip bone's front below its middle, lie toward the midline.
    """
    side = model.bone.side
    kind = _kind(model.bone)
    if side is None or kind not in {"femur", "hip_bone"}:
        return
    v = model.surface.vertices
    low = v[v[:, 2] < np.median(v[:, 2])]
    if kind == "hip_bone":
        inner = float(low[low[:, 1] < np.quantile(low[:, 1], 0.1), 0].mean())
    else:
        head = landmarks.point(HEAD_CENTER, side)
        if head is None:
            return
        inner = head.at_mm[0]
    outward = 1.0 if side is Side.LEFT else -1.0
    medial = -outward * (inner - float(low[:, 0].mean()))
    if medial < -MEDIAL_MM:
        other = side.opposite
        raise SurfaceError(
            f"cannot take in {model.bone.value}",
            found=f"a bone that lies like a {other} one, {-medial:.0f} mm the other way",
            needed=f"a {side} {kind.replace('_', ' ')}",
            next_step=f"Declare {kind}_{other}, or give the right --axes: lps or ras.",
            field="bone",
        )


def _kind(bone: Bone) -> str:
    return bone.value.removesuffix("_left").removesuffix("_right")


def _refused(declared: DeclaredMesh, found: str, needed: str, next_step: str) -> SurfaceError:
    return SurfaceError(
        f"cannot take in {declared.bone.value}",
        found=found,
        needed=needed,
        next_step=next_step,
        field="file",
    )
