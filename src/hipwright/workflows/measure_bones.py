"""Measure the hips of kept bone models, at the anterior pelvic plane and at the own tilt."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from hipwright.catalog import Catalog, load
from hipwright.domain.anatomy import (
    Bone,
    BoneLandmarks,
    BoneModel,
    Remark,
    Severity,
    Surface,
)
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.keeping_bones import BoneBuild, BoneReading
from hipwright.domain.measurement import Finding, NotMeasured
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.hip_turns import tilted
from hipwright.engines.anatomy.space_doubt import SpaceDoubt
from hipwright.engines.anatomy.survey import SurveyedHip, drawn_hip, survey_hips
from hipwright.engines.anatomy.survey import surfaces_of as joined_surfaces
from hipwright.engines.measurement.measure_space import SpacePapers, measure_in_space
from hipwright.workflows.bone_ports import BoneFiles
from hipwright.workflows.move_bone_landmarks import landmarks_in_use
from hipwright.workflows.ports import WorkspaceKeeper
from hipwright.workflows.reading_doubt import SEXES

STANDING, SUPINE = "standing", "supine"
DRAWS = 200
"""Draws of the doubt: the ends of a 95 % interval are then good to a tenth of its width."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredBoneHip:
    """What one hip's bones gave.

    Attributes
    ----------
    findings
        All measurements in space, the anterior pelvic plane upright.
    tilted
        By :data:`STANDING` and :data:`SUPINE`, where such a tilt was said: the values that
        change with it.
    border, hip
        The way home from the canonical pose, and the hip as surveyed, without draws; ``None``
        where the bones gave no hip, and the findings say why.
    remarks
        What was noticed while surveying.
    """

    side: Side
    findings: tuple[Finding, ...]
    tilted: Mapping[str, tuple[Finding, ...]] = field(default_factory=lambda: MappingProxyType({}))
    border: HipBorder | None = None
    hip: HipInSpace | None = None
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BonesMeasured:
    """What the bones of one build measure, with what a reader moved and said."""

    build: BoneBuild
    landmarks: BoneLandmarks
    tilts_deg: Mapping[str, float]
    hips: Mapping[Side, MeasuredBoneHip]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything in the anterior pelvic plane, right before left."""
        return tuple(f for hip in self.hips.values() for f in hip.findings)

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """What was noticed making the models and measuring them."""
        surveyed = (r for hip in self.hips.values() for r in hip.remarks)
        return tuple(dict.fromkeys((*self.build.remarks, *surveyed)))


def models_of(
    keeper: WorkspaceKeeper, files: BoneFiles, build: BoneBuild
) -> tuple[BoneModel, ...]:
    """The bone models of a build as they are kept, in its own ``patient_lps``."""
    frame = Frame(FrameKind.PATIENT_LPS, build.id)
    return tuple(
        BoneModel(
            bone=kept.bone,
            surface=files.surface(keeper.get_file(kept.surface_file), frame),
            quality=kept.quality,
            part=kept.part,
            cut_low=kept.cut_low,
            cut_high=kept.cut_high,
        )
        for kept in build.bones
    )


def surfaces_of(
    keeper: WorkspaceKeeper, files: BoneFiles, build: BoneBuild
) -> Mapping[Bone, Surface]:
    """One surface a bone; a knee or an ankle scanned apart belongs to its bone."""
    return joined_surfaces(models_of(keeper, files, build))


def measure_bones(
    keeper: WorkspaceKeeper,
    files: BoneFiles,
    build: BoneBuild,
    *,
    reading: BoneReading | None = None,
    sides: Collection[Side] = tuple(Side),
    tilts_deg: Mapping[str, float] | None = None,
    only: Collection[str] | None = None,
    catalog: Catalog | None = None,
) -> BonesMeasured:
    """Measure the hips of a build.

    Parameters
    ----------
    reading
        Whose moved landmarks and tilts count; ``None`` for the landmarks as found.
    tilts_deg
        Tilts by :data:`STANDING` or :data:`SUPINE` that outrank the reading's.
    only
        Ids to measure; all in space by default.

    Notes
    -----
    The draws are seeded by what is measured, so the same bones give the same intervals. A
    bone that a remark refuses is left out: what needs it says the remark's text.
    """
    shelf = catalog or load()
    landmarks = landmarks_in_use(build, reading)
    refused = _refused(build.remarks)
    surfaces = {
        bone: surface
        for bone, surface in surfaces_of(keeper, files, build).items()
        if bone not in refused
    }
    tilts = _tilts(reading) | dict(tilts_deg or {})
    inputs = _Inputs(
        build=build,
        landmarks=landmarks,
        observer=_observer(build, reading),
        sex=SEXES.get(keeper.person(build.person).sex or ""),
        digest=_digest(build, landmarks),
        tilts_deg=tilts,
        only=only,
        catalog=shelf,
    )
    surveyed = {hip.border.side: hip for hip in survey_hips(surfaces, landmarks)}
    hips: dict[Side, MeasuredBoneHip] = {}
    for side in (Side.RIGHT, Side.LEFT):
        if side in sides:
            told = {bone: text for bone, text in refused.items() if bone.side is side}
            hip = _measured(side, surveyed.get(side), inputs)
            hips[side] = _with_reasons(hip, told, shelf)
    return BonesMeasured(build=build, landmarks=landmarks, tilts_deg=tilts, hips=hips)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Inputs:
    """What both hips are measured with."""

    build: BoneBuild
    landmarks: BoneLandmarks
    observer: str
    sex: str | None
    digest: str
    tilts_deg: Mapping[str, float]
    only: Collection[str] | None
    catalog: Catalog


def _measured(side: Side, surveyed: SurveyedHip | None, inputs: _Inputs) -> MeasuredBoneHip:
    if surveyed is None:
        return MeasuredBoneHip(side=side, findings=_nothing(side, inputs))
    papers = SpacePapers(
        catalog=inputs.catalog,
        border=surveyed.border,
        image=next(iter(inputs.build.images), ""),
        observer=inputs.observer,
        inputs_sha256=inputs.digest,
        software=inputs.build.software,
        sex=inputs.sex,
        warning=_warning(inputs.build, side),
    )
    rng = np.random.default_rng(zlib.crc32(f"{inputs.digest}/{side}".encode()))
    femur_doubt, socket_doubt = _doubts(inputs.build, surveyed)
    drawn = drawn_hip(surveyed, rng, femur_doubt, socket_doubt=socket_doubt)
    own = {
        posture: measure_in_space(
            tilted(drawn, degrees),
            replace(papers, baseline=_posture(posture, degrees)),
            only=inputs.only,
            tilting=True,
        )
        for posture, degrees in inputs.tilts_deg.items()
    }
    return MeasuredBoneHip(
        side=side,
        findings=measure_in_space(drawn, papers, only=inputs.only),
        tilted=MappingProxyType(own),
        border=surveyed.border,
        hip=surveyed.nominal,
        remarks=surveyed.remarks,
    )


def _doubts(build: BoneBuild, surveyed: SurveyedHip) -> tuple[SpaceDoubt, SpaceDoubt]:
    """The doubt of the femur and of the hip bone, from how their surfaces and frames were made."""
    side = surveyed.border.side
    femur, hip_bone = build.bone(Bone.femur(side)), build.bone(Bone.hip_bone(side))
    qualities = [one.quality for one in (femur, hip_bone) if one is not None]
    fallback = qualities[0] if qualities else build.bones[0].quality
    turn = 0.0 if surveyed.femur_frame is None else max(surveyed.femur_frame.sd_deg)
    return (
        SpaceDoubt.of_bone(
            fallback if femur is None else femur.quality, frame_sd_deg=turn, count=DRAWS
        ),
        SpaceDoubt.of_bone(
            fallback if hip_bone is None else hip_bone.quality,
            frame_sd_deg=surveyed.pelvis.sd_deg,
            count=DRAWS,
        ),
    )


def _posture(posture: str, degrees: float) -> str:
    return f"{posture}, pelvis tilted {degrees:+.1f}° from the anterior pelvic plane"


def _nothing(side: Side, inputs: _Inputs) -> tuple[Finding, ...]:
    """Every measurement in space, not measured: there is no hip."""
    return tuple(
        NotMeasured(
            definition=entry.id, name=entry.name, reason=f"no model of the {side} hip", side=side
        )
        for entry in inputs.catalog.measurements.values()
        if entry.is_in_space and (inputs.only is None or entry.id in inputs.only)
    )


def _refused(remarks: Iterable[Remark]) -> dict[Bone, str]:
    """The bones that may not be measured, and why; a refusal of the scan is one of all."""
    refused: dict[Bone, str] = {}
    for remark in remarks:
        if remark.severity is Severity.REFUSAL:
            for bone in [remark.bone] if remark.bone else list(Bone):
                refused.setdefault(bone, remark.text)
    return refused


def _with_reasons(
    hip: MeasuredBoneHip, refused: Mapping[Bone, str], catalog: Catalog
) -> MeasuredBoneHip:
    """Say the refusal's own text where a refused bone is what is missing."""
    if not refused:
        return hip

    def told(finding: Finding) -> Finding:
        if not isinstance(finding, NotMeasured) or not finding.reason.startswith("no model of"):
            return finding
        entry = catalog.measurement(finding.definition)
        needed = {catalog.bone_feature(name).bone for name in entry.features}
        texts = [
            text
            for bone, text in refused.items()
            if "both" in needed or bone.value.removesuffix(f"_{hip.side}") in needed
        ]
        return replace(finding, reason=texts[0]) if texts else finding

    return replace(
        hip,
        findings=tuple(map(told, hip.findings)),
        tilted={posture: tuple(map(told, found)) for posture, found in hip.tilted.items()},
    )


def _warning(build: BoneBuild, side: Side) -> str:
    """What the bones' making asks to say beside every value of a side."""
    texts = [
        remark.text
        for remark in build.remarks
        if remark.severity is Severity.WARNING
        and (remark.bone is None or remark.bone.side in {None, side})
    ]
    return " ".join(dict.fromkeys(texts))


def _tilts(reading: BoneReading | None) -> dict[str, float]:
    if reading is None:
        return {}
    said = {STANDING: reading.standing_tilt_deg, SUPINE: reading.supine_tilt_deg}
    return {posture: degrees for posture, degrees in said.items() if degrees is not None}


def _observer(build: BoneBuild, reading: BoneReading | None) -> str:
    if reading is not None and reading.moved.points:
        return reading.observer
    return build.by


def _digest(build: BoneBuild, landmarks: BoneLandmarks) -> str:
    told = {
        "surfaces": [[bone.bone.value, bone.part, bone.surface_file] for bone in build.bones],
        "landmarks": [
            [p.id, p.side.value if p.side else "", *p.at_mm, p.sd_mm] for p in landmarks
        ],
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()
