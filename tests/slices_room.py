"""A workspace with a drawn CT and a drawn MR series, for tests of the Slices screen."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import FileDataset
from pydicom.uid import UID
from trimesh.creation import icosphere

from hipwright.adapters.dicom.write_ct import ct_datasets
from hipwright.adapters.dicom.write_mr import mr_datasets
from hipwright.adapters.dicom.write_simulated import InventedStudy, repeatable_uids
from hipwright.domain.anatomy import Bone, BoneLandmarks, BoneQuality, SpacePoint, Surface
from hipwright.domain.keeping import Case, Image
from hipwright.domain.keeping_bones import BoneBuild, BuildOrigin, Job, KeptBone
from hipwright.domain.side import Side
from hipwright.domain.volume import LabelVolume, VolumeGrid
from hipwright.phantoms.ct_simulator import CtSetup, SimulatedVolume
from hipwright.phantoms.mr_simulator import MrSetup, SimulatedMr
from hipwright.wiring import Workspace, bone_files, importer
from hipwright.workflows.import_wishes import Wishes

SHAPE = (40, 90, 120)
SPACING = np.array([1.5, 1.5, 3.0])
ORIGIN = np.array([-89.25, -66.75, -58.5])
HEADS = {Side.RIGHT: (-55.0, 0.0, 0.0), Side.LEFT: (55.0, 0.0, 0.0)}
NECK = {Side.RIGHT: (-71.0, -2.0, -14.0), Side.LEFT: (71.0, -2.0, -14.0)}
HEAD_MM, GAP_MM, SOCKET_MM = 20.0, 4.0, 34.0


def grid() -> VolumeGrid:
    """Where the drawn CT lies."""
    steps = np.array([[0, 0, SPACING[2]], [0, SPACING[1], 0], [SPACING[0], 0, 0]])
    return VolumeGrid(shape=SHAPE, origin_mm=ORIGIN, steps_mm=steps, fixed_to="any")


def drawn_codes() -> NDArray[np.uint8]:
    """Heads on necks under domes: enough to label, nothing to diagnose."""
    places = grid().to_mm(np.indices(SHAPE, dtype=np.float64).transpose(1, 2, 3, 0))
    codes = np.zeros(SHAPE, np.uint8)
    for side, head in HEADS.items():
        away = np.linalg.norm(places - head, axis=-1)
        dome = (away > HEAD_MM + GAP_MM) & (away < SOCKET_MM) & (places[..., 2] > -4)
        codes[dome] = Bone.hip_bone(side).code
        along = np.clip(
            ((places - head) @ (np.array(NECK[side]) - head))
            / np.sum((np.array(NECK[side]) - head) ** 2),
            0,
            2.4,
        )
        axis = np.array(head) + along[..., None] * (np.array(NECK[side]) - head)
        neck = np.linalg.norm(places - axis, axis=-1) < 12
        codes[(away < HEAD_MM) | neck] = Bone.femur(side).code
    return codes


def drawn_ct(seed: int = 1) -> SimulatedVolume:
    """The same in Hounsfield units: bright shells, softer inside, muscle around."""
    codes = drawn_codes()
    places = grid().to_mm(np.indices(SHAPE, dtype=np.float64).transpose(1, 2, 3, 0))
    body = np.hypot(places[..., 0] / 86, places[..., 1] / 62) < 1
    hu = np.where(body, 50.0, -1000.0)
    hu[codes > 0] = 480.0
    for side, head in HEADS.items():
        away = np.linalg.norm(places - head, axis=-1)
        hu[(codes == Bone.femur(side).code) & (away > HEAD_MM - 2.5) & (away < HEAD_MM)] = 1100.0
    hu += np.random.default_rng(seed).normal(0, 20, SHAPE)
    hu = np.clip(hu, -1024, 3071)
    return SimulatedVolume(
        hu=np.rint(hu).astype(np.int16),
        origin_mm=ORIGIN,
        spacing_mm=SPACING,
        directions=np.eye(3),
        setup=CtSetup(),
        poses={},
    )


def drawn_mr() -> SimulatedMr:
    """The left hip as a small MR volume of coronal slices."""
    ct = drawn_ct(2)
    values = np.where(ct.hu > 700, 60, np.where(ct.hu > 250, 150, np.where(ct.hu > -500, 420, 20)))
    half = np.ascontiguousarray(values[:, :, 60:].transpose(1, 0, 2)[:, ::-1]).astype(np.int16)
    return SimulatedMr(
        values=half,
        origin_mm=ORIGIN + np.array([60 * SPACING[0], 0, (SHAPE[0] - 1) * SPACING[2]]),
        spacing_mm=SPACING[[0, 2, 1]],
        directions=np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]]),
        setup=MrSetup(coronal=True),
        rim_mm=np.zeros((0, 3)),
        rim_hours=np.zeros(0),
    )


def invented_study(seed: str) -> tuple[InventedStudy, Iterator[UID]]:
    """An invented person's visit."""
    uids = repeatable_uids(seed)
    study = InventedStudy(
        patient_id=f"X-{seed}",
        patient_name=f"Example^{seed.capitalize()}",
        birth_date=date(1994, 5, 1),
        sex="F",
        study_uid=next(uids),
        frame_uid=next(uids),
        day=date(2025, 3, 3),
        hour=time(10, 0),
        accession=f"A-{seed}",
        description="Hips, invented",
    )
    return study, uids


Writer = Callable[[InventedStudy, Iterator[UID]], Iterator[FileDataset]]


def taken_in(opened: Workspace, folder: Path, seed: str, writer: Writer, side: Side) -> Image:
    """Write a series as DICOM files and import them; give the kept series."""
    folder.mkdir(parents=True)
    study, uids = invented_study(seed)
    for number, dataset in enumerate(writer(study, uids)):
        dataset.save_as(folder / f"{number:04}.dcm", enforce_file_format=True)
    wishes = Wishes(sides=(side,), invented=True, pixels_checked=True)
    report = importer(opened).add([folder], wishes, progress=lambda *_: None)
    case = opened.keeper.case(report.cases[0].code)
    return opened.keeper.images_of(case.person)[-1]


@dataclass(frozen=True, kw_only=True)
class SlicesRoom:
    """What a test needs: the two series and their cases."""

    ct: Image
    ct_case: Case
    mr: Image
    mr_case: Case


def furnish(opened: Workspace, folder: Path, *, labels: bool = True) -> SlicesRoom:
    """Take in a CT with bone models' labels, and an MR series."""
    ct = taken_in(
        opened, folder / "ct", "ada", lambda s, u: ct_datasets(drawn_ct(), s, u), Side.LEFT
    )
    mr = taken_in(
        opened, folder / "mr", "ben", lambda s, u: mr_datasets(drawn_mr(), s, u), Side.LEFT
    )
    if labels:
        add_build(opened, ct)
    return SlicesRoom(
        ct=ct,
        ct_case=opened.keeper.cases_of(ct.person)[0],
        mr=mr,
        mr_case=opened.keeper.cases_of(mr.person)[0],
    )


def add_build(opened: Workspace, ct: Image, edits_file: str = "") -> BoneBuild:
    """Keep bone models of the drawn CT: labels and the landmarks of both necks."""
    keeper = opened.keeper
    content = bone_files().labels_bytes(LabelVolume(codes=drawn_codes(), grid=grid()))
    points = [
        SpacePoint(id=name, side=side, at_mm=places[side], sd_mm=0.5)
        for name, places in (("femoral_head_center", HEADS), ("femoral_neck_isthmus", NECK))
        for side in Side
    ]
    return keeper.add_bone_build(
        BoneBuild(
            id=keeper.new_id(),
            person=ct.person,
            number=0,
            origin=BuildOrigin.CT,
            images=(ct.id,),
            bones=tuple(_ball(opened, Bone.femur(side)) for side in Side),
            landmarks=BoneLandmarks(points=tuple(points)),
            remarks=(),
            labels_file=keeper.put_file(content),
            edits_file=edits_file,
            software="test",
            by="program:test",
            made_at=datetime.now(UTC),
        )
    )


def _ball(opened: Workspace, bone: Bone) -> KeptBone:
    shape: Any = icosphere(subdivisions=1, radius=HEAD_MM)
    assert bone.side is not None
    surface = Surface(
        vertices=np.array(shape.vertices) + HEADS[bone.side],
        faces=np.array(shape.faces, dtype=np.int32),
        frame=grid().frame,
    )
    return KeptBone(
        bone=bone,
        surface_file=opened.keeper.put_file(bone_files().surface_bytes(surface)),
        triangles=len(surface.faces),
        quality=BoneQuality(edge_sd_mm=0.1, edge_bias_sd_mm=0.1),
    )


class PretendWork:
    """Long work that a test moves on by hand (the protocol ``BonesWork``)."""

    def __init__(self, opened: Workspace) -> None:
        self.opened = opened
        self.started: list[str] = []

    def start(self, image: str) -> Job:
        from hipwright.wiring import SystemClock
        from hipwright.workflows.run_job import BONES, new_job

        self.started.append(image)
        return new_job(self.opened.keeper, BONES, image, SystemClock())[0]

    def newest(self, image: str) -> Job | None:
        return next(iter(self.opened.keeper.jobs_on(image, "bones")), None)

    def cancel(self, job: str) -> Job:
        return self.opened.keeper.ask_to_cancel(job)
