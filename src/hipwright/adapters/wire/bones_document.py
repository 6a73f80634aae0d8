"""Bone models and what they measure as JSON."""

from __future__ import annotations

from typing import Literal

from hipwright.adapters.wire.documents import CAUTION, SOFTWARE, WireModel
from hipwright.adapters.wire.measurements import (
    WireMeasurement,
    WireNotMeasured,
    finding_to_wire,
)
from hipwright.domain.anatomy import BoneLandmarks, Remark
from hipwright.domain.keeping_bones import BoneBuild, KeptBone
from hipwright.workflows.measure_bones import BonesMeasured


class WireBone(WireModel):
    """One bone model; lengths in mm."""

    bone: str
    part: str
    triangles: int
    cut_low: bool
    cut_high: bool
    edge_sd_mm: float
    edge_bias_sd_mm: float
    rejected_share: float
    deviation_mm: float
    smallest_thickness_mm: float | None = None
    bridges: int
    tunnels: int


class WireSpacePoint(WireModel):
    """A landmark in the frame of the scan: x left, y posterior, z superior, mm."""

    id: str
    side: str | None = None
    at_mm: tuple[float, float, float]
    sd_mm: float
    moved: bool


class WireRemark(WireModel):
    """Something noticed about the scan, a bone or a pair of bones."""

    code: str
    severity: Literal["note", "warning", "refusal"]
    text: str
    bone: str | None = None
    figure: float | None = None
    limit: float | None = None
    unit: str | None = None


class WireBuild(WireModel):
    """Bone models made once."""

    id: str
    number: int
    origin: Literal["ct", "meshes"]
    images: list[str]
    made_at: str
    by: str
    software: str
    with_edits: bool
    bones: list[WireBone]


class WireTilted(WireModel):
    """The values that change with the tilt of the pelvis, at one posture."""

    posture: str
    tilt_deg: float
    items: list[WireMeasurement | WireNotMeasured]


class BonesDocument(WireModel):
    """What ``hipwright bones --json`` prints."""

    format: Literal["hipwright.bones"] = "hipwright.bones"
    version: Literal[1] = 1
    case: str
    software: str = SOFTWARE
    caution: str = CAUTION
    build: WireBuild
    landmarks: list[WireSpacePoint]
    remarks: list[WireRemark]
    items: list[WireMeasurement | WireNotMeasured]
    tilted: list[WireTilted]


class BonesExportDocument(WireModel):
    """What ``hipwright export --json`` prints."""

    format: Literal["hipwright.export"] = "hipwright.export"
    version: Literal[1] = 1
    case: str
    software: str = SOFTWARE
    caution: str = CAUTION
    kind: Literal["stl", "ply", "glb", "csv"]
    unit: Literal["mm"] = "mm"
    frame: str
    files: list[str]


class MeshesDocument(WireModel):
    """What ``hipwright add --json`` prints for meshes."""

    format: Literal["hipwright.meshes"] = "hipwright.meshes"
    version: Literal[1] = 1
    case: str
    software: str = SOFTWARE
    build: WireBuild
    remarks: list[WireRemark]


def meshes_document(build: BoneBuild, case: str) -> MeshesDocument:
    """Meshes that were taken in, as a document."""
    return MeshesDocument(
        case=case,
        build=build_to_wire(build),
        remarks=[remark_to_wire(remark) for remark in build.remarks],
    )


def bones_document(measured: BonesMeasured, case: str) -> BonesDocument:
    """The bones of a case as one document."""
    return BonesDocument(
        case=case,
        build=build_to_wire(measured.build),
        landmarks=landmarks_to_wire(measured.landmarks),
        remarks=[remark_to_wire(remark) for remark in measured.remarks],
        items=[finding_to_wire(finding) for finding in measured.findings],
        tilted=[
            WireTilted(
                posture=posture,
                tilt_deg=degrees,
                items=[
                    finding_to_wire(finding)
                    for hip in measured.hips.values()
                    for finding in hip.tilted.get(posture, ())
                ],
            )
            for posture, degrees in measured.tilts_deg.items()
        ],
    )


def build_to_wire(build: BoneBuild) -> WireBuild:
    """One build."""
    return WireBuild(
        id=build.id,
        number=build.number,
        origin=build.origin.value,
        images=list(build.images),
        made_at=build.made_at.isoformat(),
        by=build.by,
        software=build.software,
        with_edits=bool(build.edits_file),
        bones=[_bone(kept) for kept in build.bones],
    )


def landmarks_to_wire(landmarks: BoneLandmarks) -> list[WireSpacePoint]:
    """Landmarks in use."""
    return [
        WireSpacePoint(
            id=p.id,
            side=None if p.side is None else p.side.value,
            at_mm=p.at_mm,
            sd_mm=p.sd_mm,
            moved=p.moved,
        )
        for p in landmarks
    ]


def remark_to_wire(remark: Remark) -> WireRemark:
    """One remark."""
    return WireRemark(
        code=remark.code,
        severity=remark.severity.value,
        text=remark.text,
        bone=None if remark.bone is None else remark.bone.value,
        figure=remark.figure,
        limit=remark.limit,
        unit=remark.unit or None,
    )


def _bone(kept: KeptBone) -> WireBone:
    quality = kept.quality
    return WireBone(
        bone=kept.bone.value,
        part=kept.part,
        triangles=kept.triangles,
        cut_low=kept.cut_low,
        cut_high=kept.cut_high,
        edge_sd_mm=quality.edge_sd_mm,
        edge_bias_sd_mm=quality.edge_bias_sd_mm,
        rejected_share=quality.rejected_share,
        deviation_mm=quality.deviation_mm,
        smallest_thickness_mm=quality.smallest_thickness_mm,
        bridges=quality.bridges,
        tunnels=quality.tunnels,
    )
