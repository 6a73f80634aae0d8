"""A person with bone models in a running workspace, for tests of the Bones screen.

The bones are a shape-model person's; what they measure is made up here, since these tests ask
how it is shown. That the numbers are right is asked of the engines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any

import numpy as np

from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.apps.web.bones.at_hand import (
    STANDING,
    SUPINE,
    BoneMap,
    MeasuredBones,
    MeasuredSide,
    Tilts,
)
from hipwright.apps.web.bones.packing import mesh_bytes
from hipwright.catalog import load
from hipwright.catalog.entries import EntryKind
from hipwright.domain.anatomy import Bone, BoneLandmarks, BoneQuality, Remark, SpacePoint, Surface
from hipwright.domain.anatomy import Severity as Weight
from hipwright.domain.errors import StaleWriteError
from hipwright.domain.evidence import Estimate, Provenance
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.keeping import Case, Image, ImageKind, Laterality, Study
from hipwright.domain.keeping_bones import (
    BoneBuild,
    BoneReading,
    BuildOrigin,
    Job,
    JobState,
    KeptBone,
)
from hipwright.domain.measurement import Finding, Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Posture, View
from hipwright.domain.volume import Volume, VolumeGrid
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.measurement.classes import classify
from hipwright.engines.measurement.space_drawing import DrawnLine, DrawnPoint, SpaceDrawing
from hipwright.phantoms.demonstration import HILL_WALKER
from hipwright.phantoms.people import Person, build_person
from hipwright.wiring import Workspace

SCAN = "scan-of-a-test"
QUALITY = BoneQuality(edge_sd_mm=0.12, edge_bias_sd_mm=0.08, rejected_share=0.013)
MADE_AT = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


@cache
def modeled_person() -> Person:
    """An invented person's bones."""
    return build_person(read_shape_model(), HILL_WALKER.stages["first"])


def surface_named(name: str) -> Surface:
    """One bone as a surface in ``patient_lps``."""
    outer = modeled_person().bones[name].outer
    frame = Frame(FrameKind.PATIENT_LPS, SCAN)
    return Surface(vertices=outer.vertices, faces=outer.faces, frame=frame)


BONES = {bone.value: bone for bone in Bone if bone.side is not None and "tibia" not in bone.value}
BONES["sacrum"] = Bone.SACRUM


def add_ct(opened: Workspace, case: Case) -> Image:
    """A CT series that is kept by name only."""
    keeper = opened.keeper
    study = Study(id=keeper.new_id(), person=case.person, acquired_on=date(2026, 3, 2), label="CT")
    keeper.add_study(study)
    image = Image(
        id=keeper.new_id(),
        study=study.id,
        person=case.person,
        kind=ImageKind.SERIES,
        modality="CT",
        view=View.CT,
        laterality=Laterality.BOTH,
        posture=Posture.SUPINE,
        calibration=Calibration.uncalibrated(),
        columns=512,
        rows=512,
        files=(keeper.put_file(b"a slice of a test"),),
        acquired_on=study.acquired_on,
    )
    keeper.add_image(image)
    return image


def build_of(
    person: str, image: str, *, number: int = 1, remarks: Sequence[Remark] = ()
) -> BoneBuild:
    """A build of the modeled person's bones."""
    return BoneBuild(
        id=f"build-{number}",
        person=person,
        number=number,
        origin=BuildOrigin.CT,
        images=(image,),
        bones=tuple(
            KeptBone(
                bone=bone,
                surface_file=name,
                triangles=len(surface_named(name).faces),
                quality=QUALITY,
                cut_low="femur" in name,
            )
            for name, bone in BONES.items()
        ),
        landmarks=BoneLandmarks(),
        remarks=tuple(remarks),
        labels_file="",
        edits_file="",
        software="hipwright test",
        by="program:bones",
        made_at=MADE_AT,
    )


REMARKS = (
    Remark(code="note", severity=Weight.NOTE, text="Slices lie 1.0 mm apart."),
    Remark(
        code="gap",
        severity=Weight.WARNING,
        text="The joint is narrower than 1.5 mm at one place: look there on the Slices screen.",
        bone=Bone.FEMUR_LEFT,
        figure=1.3,
        limit=1.5,
        unit="mm",
    ),
)


@dataclass(kw_only=True)
class FakeBones:
    """Bones at hand, in memory; what they measure follows from a simple rule."""

    builds_kept: list[BoneBuild] = field(default_factory=list)
    readings_kept: list[BoneReading] = field(default_factory=list)
    images: list[Image] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)
    measured_times: int = 0

    def builds(self, person: str) -> Sequence[BoneBuild]:
        found = [b for b in self.builds_kept if b.person == person]
        return sorted(found, key=lambda b: -b.number)

    def readings(self, build: BoneBuild) -> Sequence[BoneReading]:
        newest: dict[str, BoneReading] = {}
        for reading in self.readings_kept:
            if reading.build == build.id:
                newest[reading.observer] = reading
        return sorted(newest.values(), key=lambda r: r.saved_at, reverse=True)

    def _save(self, build: BoneBuild, observer: str, expected: int, **changes: Any) -> BoneReading:
        kept = next((r for r in self.readings(build) if r.observer == observer), None)
        before = kept or BoneReading(
            id=f"reading-{observer}",
            build=build.id,
            observer=observer,
            moved=BoneLandmarks(),
            standing_tilt_deg=None,
            supine_tilt_deg=None,
            tilt_source="",
            version=0,
            saved_at=MADE_AT,
        )
        if before.version != expected:
            raise StaleWriteError("cannot save the landmarks", kept=kept, offered=changes)
        later = before.saved_at + timedelta(minutes=1)
        saved = replace(before, version=expected + 1, saved_at=later, **changes)
        self.readings_kept.append(saved)
        return saved

    def _moved(self, build: BoneBuild, observer: str) -> BoneLandmarks:
        found = [r.moved for r in self.readings(build) if r.observer == observer]
        return found[0] if found else BoneLandmarks()

    def move(
        self, build: BoneBuild, observer: str, point: SpacePoint, *, expected_version: int
    ) -> BoneReading:
        moved = self._moved(build, observer).updated(BoneLandmarks(points=(point,)))
        return self._save(build, observer, expected_version, moved=moved)

    def put_back(
        self, build: BoneBuild, observer: str, landmark: str, side: Side | None, *,
        expected_version: int,
    ) -> BoneReading:  # fmt: skip
        rest = [p for p in self._moved(build, observer) if (p.id, p.side) != (landmark, side)]
        moved = BoneLandmarks(points=tuple(rest))
        return self._save(build, observer, expected_version, moved=moved)

    def say_tilts(self, build: BoneBuild, observer: str, tilts: Tilts) -> BoneReading:
        return self._save(
            build, observer, tilts.expected_version, standing_tilt_deg=tilts.standing_deg,
            supine_tilt_deg=tilts.supine_deg, tilt_source=tilts.source,
        )  # fmt: skip

    def mesh(self, bone: KeptBone) -> bytes:
        return mesh_bytes(surface_named(bone.surface_file))

    def blocks(self, build: BoneBuild) -> Sequence[Volume]:
        return (water_and_heads(),)

    def surface(self, build: BoneBuild, bone: KeptBone) -> Surface:
        return surface_named(bone.surface_file)

    def measured(self, build: BoneBuild, reading: BoneReading | None) -> MeasuredBones:
        self.measured_times += 1
        moved = BoneLandmarks() if reading is None else reading.moved
        landmarks = found_landmarks().updated(moved)
        shift = sum(abs(point.at_mm[2]) for point in moved) % 7.0
        tilts: dict[str, float] = {}
        if reading is not None and reading.standing_tilt_deg is not None:
            tilts[STANDING] = reading.standing_tilt_deg
        if reading is not None and reading.supine_tilt_deg is not None:
            tilts[SUPINE] = reading.supine_tilt_deg
        sides = {side: self._side(side, shift, tilts) for side in Side}
        return MeasuredBones(landmarks=landmarks, sides=sides, maps=made_up_maps())

    def _side(self, side: Side, shift: float, tilts: dict[str, float]) -> MeasuredSide:
        return MeasuredSide(
            findings=tuple(made_up_findings(side, shift)),
            border=border_of(side),
            head_radius_mm=23.0,
            tilted={
                posture: tuple(
                    f for f in made_up_findings(side, shift + tilt / 2)
                    if load().measurement(f.definition).tilts_with_pelvis
                )
                for posture, tilt in tilts.items()
            },
        )  # fmt: skip

    def drawing(
        self, side: MeasuredSide, definition: str, hour: float | None
    ) -> SpaceDrawing | None:
        turn = np.linspace(0.0, 2 * np.pi, 60)
        circle = 24.0 * np.column_stack([np.sin(turn), 0 * turn, np.cos(turn)])
        return SpaceDrawing(
            points=(DrawnPoint(name="head center", at_mm=np.zeros(3)),),
            lines=(
                DrawnLine(name="sphere of the head", points_mm=circle),
                DrawnLine(
                    name="vertical",
                    points_mm=np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 60.0]]),
                    dashed=True,
                ),
            ),
        )

    def series(self, person: str) -> Sequence[Image]:
        return [image for image in self.images if image.person == person]

    def start(self, image: Image) -> Job:
        job = Job(
            id=f"job-{len(self.jobs) + 1}", kind="bones", subject=image.id, state=JobState.RUNNING,
            done=34, total=100, message="telling the bones apart", started_at=MADE_AT,
            heartbeat_at=MADE_AT,
        )  # fmt: skip
        self.jobs.append(job)
        return job

    def newest_job(self, image: Image) -> Job | None:
        return next((j for j in reversed(self.jobs) if j.subject == image.id), None)

    def cancel(self, job: str) -> Job:
        return self.change(job, cancel_asked=True)

    def change(self, job: str, **changes: Any) -> Job:
        """Let something happen to a job."""
        at = next(n for n, one in enumerate(self.jobs) if one.id == job)
        self.jobs[at] = replace(self.jobs[at], **changes)
        return self.jobs[at]


@cache
def water_and_heads() -> Volume:
    """A box of water with two dense balls where the modeled person's heads are."""
    shape, step = (30, 40, 60), 5.0
    grid = VolumeGrid(
        shape=shape,
        origin_mm=np.array([-147.5, -97.5, -72.5]),
        steps_mm=np.array([[0, 0, step], [0, step, 0], [step, 0, 0]]),
        fixed_to=SCAN,
    )
    places = grid.to_mm(np.moveaxis(np.indices(shape), 0, -1).astype(float))
    values = np.zeros(shape, dtype=np.int16)
    for side in Side:
        values[np.linalg.norm(places - head_center(side), axis=-1) < 24.0] = 900
    return Volume(values=values, grid=grid)


def head_center(side: Side) -> np.ndarray:
    """Where the modeled person's head is."""
    truth = modeled_person().truth
    return np.asarray((truth.left if side is Side.LEFT else truth.right).head_center)


def border_of(side: Side) -> HipBorder:
    """The modeled person lies straight in the pelvic plane."""
    return HipBorder(
        side=side,
        app_from_lps=np.array([[-1.0, 0, 0], [0, -1.0, 0], [0, 0, 1.0]]),
        origin_mm=head_center(side),
        fixed_to=SCAN,
    )


def found_landmarks() -> BoneLandmarks:
    """A few of the catalog's movable features, on the bones."""
    points: list[SpacePoint] = []
    for feature in load().bone_features.values():
        if not feature.movable:
            continue
        sides: list[Side | None] = [None] if feature.midline else list(Side)
        for side in sides:
            kind = "femur" if feature.bone == "femur" else "hip_bone"
            surface = surface_named(f"{kind}_{(side or Side.LEFT).value}")
            at = surface.vertices[sum(map(ord, feature.id)) % len(surface.vertices)]
            points.append(
                SpacePoint(
                    id=feature.id,
                    side=side,
                    at_mm=(float(at[0]), float(at[1]), float(at[2])),
                    sd_mm=feature.sd_mm,
                )
            )
    return BoneLandmarks(points=tuple(points))


def made_up_findings(side: Side, shift: float) -> list[Finding]:
    """A value for every entry in space, near the middle of its ranges; one is not measured."""
    catalog = load()
    found: list[Finding] = []
    entries = [e for e in catalog.measurements.values() if e.is_in_space]
    for number, entry in enumerate(entries):
        if entry.kind is EntryKind.GRADED:
            continue
        if number == 3:
            found.append(
                NotMeasured(
                    definition=entry.id,
                    name=entry.name,
                    reason="the knee was not scanned",
                    side=side,
                )
            )
            continue
        chosen = entry.range_for(View.CT)
        edge = chosen.bands[0].high if chosen and len(chosen.bands) > 1 else 40.0
        for hour in entry.hours or (None,):
            wave = 0.0 if hour is None else 9.0 * np.sin((hour - 1.0) / 12 * 2 * np.pi)
            value = edge + 2.5 + wave + shift + (1.5 if side is Side.LEFT else 0.0)
            draws = np.random.default_rng(number).normal(value, 2.0, 200)
            estimate = Estimate(value=value, low=value - 4.0, high=value + 4.0)
            found.append(
                Measurement(
                    definition=entry.id, name=entry.name, abbreviation=entry.abbreviation,
                    unit=entry.unit, estimate=estimate, side=side, view=View.CT, image="scan",
                    observer="program:bones",
                    provenance=Provenance(
                        method=entry.id, by="program:bones", sources=entry.defined_by,
                        inputs_sha256="0" * 64, software="test",
                    ),
                    reported_to=entry.reported_to, hour=hour,
                    classification=classify(draws, estimate, entry, View.CT, catalog, sex=None),
                )
            )  # fmt: skip
    return found


@cache
def made_up_maps() -> tuple[BoneMap, ...]:
    """Distances from the sphere of the head, on what is near it; coverage by height."""
    residual: dict[str, np.ndarray] = {}
    coverage: dict[str, np.ndarray] = {}
    for side in Side:
        name = f"femur_{side.value}"
        away = surface_named(name).vertices - head_center(side)
        far = np.linalg.norm(away, axis=1)
        truth = modeled_person().truth
        radius = (truth.left if side is Side.LEFT else truth.right).head_radius_mm
        residual[name] = np.where(far < 1.7 * radius, far - radius, np.nan)
        coverage[name] = np.where(far < 1.06 * radius, away[:, 2] > 0, np.nan)
    return (BoneMap(id="residual", values=residual), BoneMap(id="coverage", values=coverage))
