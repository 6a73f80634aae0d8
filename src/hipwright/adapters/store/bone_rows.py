"""Bone builds, readings of bones and jobs as rows, and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from sqlalchemy import RowMapping

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


def build_row(build: BoneBuild) -> dict[str, Any]:
    """What a build is, besides its bones and its images."""
    return {
        "id": build.id,
        "person_id": build.person,
        "number": build.number,
        "made_from": build.origin.value,
        "landmarks": points_to_json(build.landmarks),
        "remarks": [_remark_row(remark) for remark in build.remarks],
        "labels_file": build.labels_file or None,
        "edits_file": build.edits_file or None,
        "software": build.software,
        "made_by": build.by,
        "made_at": build.made_at,
    }


def bone_row(build: str, kept: KeptBone) -> dict[str, Any]:
    """One bone of a build."""
    return {
        "build_id": build,
        "bone": kept.bone.value,
        "part": kept.part,
        "surface_file": kept.surface_file,
        "triangles": kept.triangles,
        "quality": asdict(kept.quality),
        "cut_low": kept.cut_low,
        "cut_high": kept.cut_high,
    }


def build_from(
    row: RowMapping, bones: Sequence[RowMapping], images: Sequence[RowMapping]
) -> BoneBuild:
    """The build that its rows tell of; ``images`` in their order."""
    return BoneBuild(
        id=row["id"],
        person=row["person_id"],
        number=row["number"],
        origin=BuildOrigin(row["made_from"]),
        images=tuple(image["image_id"] for image in images),
        bones=tuple(_bone_from(bone) for bone in bones),
        landmarks=points_from_json(row["landmarks"]),
        remarks=tuple(_remark_from(remark) for remark in row["remarks"]),
        labels_file=row["labels_file"] or "",
        edits_file=row["edits_file"] or "",
        software=row["software"],
        by=row["made_by"],
        made_at=row["made_at"],
    )


def points_to_json(landmarks: BoneLandmarks) -> list[dict[str, Any]]:
    """Landmarks as they lie in a row: exact numbers, nothing derived."""
    return [
        {
            "id": p.id,
            "side": p.side.value if p.side else None,
            "at_mm": list(p.at_mm),
            "sd_mm": p.sd_mm,
            "moved": p.moved,
        }
        for p in landmarks
    ]


def points_from_json(kept: list[dict[str, Any]]) -> BoneLandmarks:
    """The landmarks that a row tells of."""
    return BoneLandmarks(
        points=tuple(
            SpacePoint(
                id=p["id"],
                side=Side(p["side"]) if p["side"] else None,
                at_mm=(p["at_mm"][0], p["at_mm"][1], p["at_mm"][2]),
                sd_mm=p["sd_mm"],
                moved=p["moved"],
            )
            for p in kept
        )
    )


def bone_reading_from(row: RowMapping) -> BoneReading:
    """The version of a reading that a row tells of."""
    return BoneReading(
        id=row["reading_id"],
        build=row["build_id"],
        observer=row["observer"],
        moved=points_from_json(row["moved"]),
        standing_tilt_deg=row["standing_tilt_deg"],
        supine_tilt_deg=row["supine_tilt_deg"],
        tilt_source=row["tilt_source"],
        version=row["version"],
        saved_at=row["recorded_at"],
    )


def edits_from(row: RowMapping) -> KeptEdits:
    """The version of the edits that a row tells of."""
    return KeptEdits(
        image=row["image_id"],
        edits_file=row["edits_file"],
        by=row["saved_by"],
        version=row["version"],
        saved_at=row["recorded_at"],
    )


def event_row(job: Job, version: int) -> dict[str, Any]:
    """How far a job is."""
    return {
        "job_id": job.id,
        "version": version,
        "state": job.state.value,
        "done": job.done,
        "total": job.total,
        "message": job.message,
        "cancel_asked": job.cancel_asked,
        "result": job.result,
        "error": job.error,
        "recorded_at": job.heartbeat_at,
    }


def job_from(row: RowMapping) -> Job:
    """The job that its facts and its newest event tell of."""
    state = JobState(row["state"])
    return Job(
        id=row["job_id"],
        kind=row["kind"],
        subject=row["subject"],
        state=state,
        done=row["done"],
        total=row["total"],
        message=row["message"],
        started_at=row["started_at"],
        heartbeat_at=row["recorded_at"],
        ended_at=row["recorded_at"] if state.is_over else None,
        result=row["result"],
        error=row["error"],
        cancel_asked=row["cancel_asked"],
    )


def _bone_from(row: RowMapping) -> KeptBone:
    return KeptBone(
        bone=Bone(row["bone"]),
        surface_file=row["surface_file"],
        triangles=row["triangles"],
        quality=BoneQuality(**row["quality"]),
        part=row["part"],
        cut_low=row["cut_low"],
        cut_high=row["cut_high"],
    )


def _remark_row(remark: Remark) -> dict[str, Any]:
    return {
        **asdict(remark),
        "severity": remark.severity.value,
        "bone": remark.bone.value if remark.bone else None,
    }


def _remark_from(kept: dict[str, Any]) -> Remark:
    bone = Bone(kept["bone"]) if kept["bone"] else None
    return Remark(**{**kept, "severity": Severity(kept["severity"]), "bone": bone})
