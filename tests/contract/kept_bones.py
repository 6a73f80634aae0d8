"""Bone builds, readings, edits and jobs to keep: invented, small, all fields filled."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hipwright.domain.anatomy import (
    Bone,
    BoneLandmarks,
    BoneQuality,
    Remark,
    Severity,
    SpacePoint,
)
from hipwright.domain.keeping_bones import (
    BoneBuild,
    BoneReading,
    BuildOrigin,
    Job,
    JobState,
    KeptBone,
    KeptEdits,
)
from hipwright.domain.side import Side
from hipwright.workflows.ports import WorkspaceKeeper
from tests.contract.kept_things import OPENED, Clinic


def a_build(keeper: WorkspaceKeeper, clinic: Clinic, **changes: Any) -> BoneBuild:
    bones = (
        KeptBone(
            bone=Bone.FEMUR_LEFT,
            surface_file=keeper.put_file(b"femur"),
            triangles=123456,
            quality=BoneQuality(
                edge_sd_mm=0.1 + 0.2,
                edge_bias_sd_mm=1 / 3,
                rejected_share=0.01,
                deviation_mm=0.05,
                smallest_thickness_mm=0.9,
                bridges=1,
                tunnels=2,
            ),
            cut_low=True,
        ),
        KeptBone(
            bone=Bone.FEMUR_LEFT,
            part="knee",
            surface_file=keeper.put_file(b"knee"),
            triangles=999,
            quality=BoneQuality(edge_sd_mm=0.1, edge_bias_sd_mm=0.1),
            cut_high=True,
        ),
    )
    remarks = (
        Remark(code="scan.kernel", severity=Severity.NOTE, text="A sharp kernel."),
        Remark(
            code="joint.closed",
            severity=Severity.REFUSAL,
            text="The joint looks closed.",
            bone=Bone.FEMUR_LEFT,
            figure=0.1,
            limit=0.3,
            unit="mm",
        ),
    )
    build = BoneBuild(
        id=keeper.new_id(),
        person=clinic.person.id,
        number=0,
        origin=BuildOrigin.CT,
        images=(clinic.film.id,),
        bones=bones,
        landmarks=some_points(),
        remarks=remarks,
        labels_file=keeper.put_file(b"labels"),
        edits_file=keeper.put_file(b"edits"),
        software="hipwright 0",
        by="program:bones",
        made_at=OPENED,
    )
    return replace(build, **changes)


def some_points(x_mm: float = 0.1 + 0.2) -> BoneLandmarks:
    return BoneLandmarks(
        points=(
            SpacePoint(id="asis", side=Side.LEFT, at_mm=(x_mm, -1e-9, 1 / 3), sd_mm=1.5),
            SpacePoint(id="promontory", side=None, at_mm=(1.0, 2.0, 3.0), sd_mm=0.0, moved=True),
        )
    )


def a_reading(keeper: WorkspaceKeeper, build: BoneBuild, **changes: Any) -> BoneReading:
    reading = BoneReading(
        id=keeper.new_id(),
        build=build.id,
        observer="human:obs-1",
        moved=some_points(),
        standing_tilt_deg=-4.2,
        supine_tilt_deg=None,
        tilt_source="standing film of the same week",
        version=0,
        saved_at=OPENED,
    )
    return replace(reading, **changes)


def a_job(keeper: WorkspaceKeeper, **changes: Any) -> Job:
    job = Job(
        id=keeper.new_id(),
        kind="bones",
        subject="image-1",
        state=JobState.WAITING,
        done=0,
        total=0,
        message="waiting",
        started_at=OPENED,
        heartbeat_at=OPENED,
    )
    return replace(job, **changes)


def some_edits(
    keeper: WorkspaceKeeper, clinic: Clinic, content: bytes, *, expected_version: int
) -> KeptEdits:
    edits = KeptEdits(
        image=clinic.film.id,
        edits_file=keeper.put_file(content),
        by="human:obs-1",
        version=0,
        saved_at=OPENED,
    )
    return keeper.save_label_edits(edits, expected_version=expected_version)
