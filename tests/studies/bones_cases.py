"""Cases of the bone study: a scan with its truth, and what the program makes of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.domain.anatomy import Bone, BoneModel, Remark, Severity
from hipwright.domain.errors import HipwrightError
from hipwright.domain.side import Side
from hipwright.engines.segmentation.bones import bone_models
from hipwright.engines.segmentation.checks_bones import check_bones
from hipwright.engines.segmentation.labels import segment
from hipwright.engines.segmentation.segmentation import Segmentation
from hipwright.phantoms.bone_people import BonePerson, bone_people, patient_of
from hipwright.phantoms.ct_scanner import Scanned, scan
from hipwright.phantoms.people import build_person
from tests.bones_at_hand import VARIANTS, subject_a_volume
from tests.studies.bones_distance import Sheet
from tests.studies.bones_errors import BoneError, HipError, Judge

JUDGED = (Bone.FEMUR_RIGHT, Bone.FEMUR_LEFT, Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT)
THICK_SLICES_MM = 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a bone model may be wrong by, mm; ``gap_mm`` for the smallest gap."""

    mean: float = 0.15
    p95: float = 0.35
    largest: float = 1.0
    gap_mm: float = 0.3

    def doubled(self) -> Limits:
        """Twice as much: for drawn people, and where a result is called wrong."""
        return Limits(
            mean=2 * self.mean, p95=2 * self.p95, largest=2 * self.largest, gap_mm=2 * self.gap_mm
        )

    def holds(self, error: BoneError) -> bool:
        """Whether a bone keeps to them."""
        within = error.mean <= self.mean and error.p95 <= self.p95
        return within and error.largest <= self.largest

    def joint_holds(self, hip: HipError) -> bool:
        """Whether a joint is open and its gap right; a joint out of the field counts so."""
        if np.isnan(hip.gap_mm):
            return bool(np.isnan(hip.true_gap_mm))
        off = abs(hip.gap_mm - hip.true_gap_mm)
        return not hip.closed_percent > 0 and not off > self.gap_mm


ORDINARY_LIMITS = Limits()
THICK_LIMITS = Limits(mean=0.20, p95=0.50, largest=1.0, gap_mm=0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A named scan to be made when it is wanted."""

    group: str
    name: str
    make: Callable[[], Scanned]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What came out of one case.

    ``missing`` are bones in the field of which no model was made; ``refused`` the error with
    which the program stopped, if it did.
    """

    group: str
    name: str
    spacing_mm: float
    bones: tuple[BoneError, ...]
    hips: tuple[HipError, ...]
    missing: tuple[Bone, ...]
    remarks: tuple[Remark, ...]
    refused: str = ""
    open_surfaces: tuple[Bone, ...] = ()
    segment_cpu_s: float = 0.0
    models_cpu_s: float = 0.0
    kinds: tuple[str, ...] = field(default=())

    @property
    def limits(self) -> Limits:
        """The limits of its slices."""
        thick = self.spacing_mm > THICK_SLICES_MM
        base = THICK_LIMITS if thick else ORDINARY_LIMITS
        return base.doubled() if self.group == "people" else base

    def said_of(self, bone: Bone) -> tuple[Remark, ...]:
        """Warnings and refusals about a bone, or about the scan."""
        return tuple(
            r
            for r in self.remarks
            if r.bone in {bone, None} and r.severity in {Severity.WARNING, Severity.REFUSAL}
        )

    def wrong(self) -> tuple[Bone, ...]:
        """Bones that are wrong: beyond twice the limits of their slices, closed, or absent."""
        thick = self.spacing_mm > THICK_SLICES_MM
        far = (THICK_LIMITS if thick else ORDINARY_LIMITS).doubled()
        bad = {e.bone for e in self.bones if not far.holds(e)}
        for hip in self.hips:
            if not far.joint_holds(hip):
                bad |= {Bone.femur(hip.side), Bone.hip_bone(hip.side)}
        return tuple(sorted(bad | set(self.missing) | set(self.open_surfaces), key=_order))

    def silent(self) -> tuple[Bone, ...]:
        """Wrong bones of which the program said nothing."""
        return tuple(b for b in self.wrong() if not self.refused and not self.said_of(b))

    def refused_bones(self) -> tuple[Bone, ...]:
        """Bones the program itself holds back."""
        held = {r.bone for r in self.remarks if r.severity is Severity.REFUSAL}
        every = None in held or bool(self.refused)
        return tuple(b for b in JUDGED if every or b in held)


def _order(bone: Bone) -> int:
    return bone.code


def judged(case: Case, scanned: Scanned, made: Made, judge: Judge) -> Found:
    """Hold what was made against the truth."""
    sheets = {m.bone: Sheet.of(m.surface) for m in made.models if m.bone in JUDGED}
    errors = tuple(judge.bone(bone, sheet) for bone, sheet in sheets.items())
    hips = tuple(
        judge.hip(side, sheets[Bone.femur(side)], sheets[Bone.hip_bone(side)])
        for side in Side
        if Bone.femur(side) in sheets and Bone.hip_bone(side) in sheets
    )
    return Found(
        group=case.group,
        name=case.name,
        spacing_mm=float(scanned.volume.grid.spacing_mm[0]),
        bones=errors,
        hips=hips,
        missing=tuple(b for b in JUDGED if judge.visible(b) and b not in sheets),
        remarks=made.remarks,
        open_surfaces=tuple(m.bone for m in made.models if not m.surface.is_closed),
        segment_cpu_s=made.segment_cpu_s,
        models_cpu_s=made.models_cpu_s,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Made:
    """Bone models of one scan with all that was said about them."""

    segmentation: Segmentation
    models: tuple[BoneModel, ...]
    remarks: tuple[Remark, ...]
    segment_cpu_s: float
    models_cpu_s: float


def made_of(scanned: Scanned) -> Made:
    """Labels, surfaces and checks, as a build makes them."""
    begun = time.process_time()
    segmentation = segment(scanned.volume)
    told_apart = time.process_time()
    models, remarks = bone_models(scanned.volume, segmentation)
    done = time.process_time()
    checked = check_bones(models, [segmentation])
    return Made(
        segmentation=segmentation,
        models=models,
        remarks=(*segmentation.remarks, *remarks, *checked),
        segment_cpu_s=told_apart - begun,
        models_cpu_s=done - told_apart,
    )


def run(case: Case) -> Found:
    """Scan, make and judge one case."""
    scanned = case.make()
    judge = Judge(scanned)
    try:
        made = made_of(scanned)
    except HipwrightError as error:
        return Found(
            group=case.group,
            name=case.name,
            spacing_mm=float(scanned.volume.grid.spacing_mm[0]),
            bones=(),
            hips=(),
            missing=tuple(b for b in JUDGED if judge.visible(b)),
            remarks=(),
            refused=str(error),
        )
    return judged(case, scanned, made, judge)


FEW = ("small", "tight_one_hip", "small_soft")


def subject_a_cases(names: Sequence[str] | None = None) -> list[Case]:
    """The variants of subject-a, all of them or those named."""
    left_out = {"small", "small_soft", "coarse_voxels"} if names is None else set()
    return [
        Case(group="subject-a", name=name, make=lambda n=name: subject_a_volume(n))
        for name in (names or VARIANTS)
        if name not in left_out
    ]


def person_scan(person: BonePerson) -> Scanned:
    """Build and scan one drawn person."""
    built = build_person(read_shape_model(), person.spec)
    return scan(patient_of(built), person.scan, np.random.default_rng([11, person.number]))


def people_cases(count: int, seed: int = 7) -> list[Case]:
    """Drawn people, named by what their hips have."""
    return [
        Case(
            group="people",
            name=f"{p.number:02d}: right {p.kinds[Side.RIGHT].value}, "
            f"left {p.kinds[Side.LEFT].value}",
            make=lambda p=p: person_scan(p),
        )
        for p in bone_people(seed, count)
    ]
