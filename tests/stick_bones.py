"""Bones without anatomy: small volumes, boxes for bones, quick stages that count their calls."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np

from hipwright.adapters.bone_files.files import WorkspaceBoneFiles
from hipwright.domain.anatomy import (
    Bone,
    BoneLandmarks,
    BoneModel,
    BoneQuality,
    Remark,
    Severity,
    SpacePoint,
    Surface,
)
from hipwright.domain.frames import Frame
from hipwright.domain.keeping import Image
from hipwright.domain.side import Side
from hipwright.domain.volume import LabelEdits, LabelVolume, Volume, VolumeGrid
from hipwright.engines.segmentation.segmentation import Segmentation, TissueLevels
from hipwright.workflows.bone_ports import Share
from hipwright.workflows.build_bones import BoneWorkshop
from hipwright.workflows.ports import Progress, SeriesPlace

LEVELS = TissueLevels(
    soft_hu=40.0,
    cortex_hu=1500.0,
    noise_hu=20.0,
    threshold_hu=250.0,
    blur_mm=0.6,
    slice_blur_mm=0.3,
)
SHAPE = (6, 5, 4)
CORNERS = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
TRIANGLES = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


def stick_volume(
    shape: tuple[int, int, int] = SHAPE, *, frame: str = "2.25.1", low_mm: float = 0.0
) -> Volume:
    grid = VolumeGrid(
        shape=shape,
        origin_mm=np.array([0.0, 0.0, low_mm]),
        steps_mm=np.array([[0.0, 0.0, 1.0], [0.0, 0.8, 0.0], [0.8, 0.0, 0.0]]),
        fixed_to=frame,
    )
    values = np.full(shape, -1000, np.int16)
    return Volume(values=values, grid=grid, notes=("A stick volume.",))


def tetrahedron(frame: Frame, *, size_mm: float = 30.0, at_mm: float = 0.0) -> Surface:
    return Surface(vertices=CORNERS * size_mm + at_mm, faces=TRIANGLES, frame=frame)


@dataclass
class StickReader:
    """Gives prepared volumes by image."""

    blocks: dict[str, tuple[Volume, ...]] = field(default_factory=dict)
    places: dict[str, SeriesPlace] = field(default_factory=dict)
    reads: int = 0

    def place(self, image: Image, get_file: Callable[[str], bytes]) -> SeriesPlace | None:
        return self.places.get(image.id)

    def read(
        self, image: Image, get_file: Callable[[str], bytes], progress: Progress
    ) -> tuple[Volume, ...]:
        self.reads += 1
        for number in range(3):
            progress("reading slices", number, 3)
        return self.blocks.get(image.id, (stick_volume(),))


@dataclass
class StickMaker:
    """Makes a tetrahedron a side; fails in a stage when told to."""

    fails_in: str = ""
    error: Exception = field(default_factory=RuntimeError)
    calls: list[str] = field(default_factory=list)
    edits: list[LabelEdits] = field(default_factory=list)
    bones: tuple[Bone, ...] = (Bone.FEMUR_LEFT, Bone.HIP_BONE_LEFT)

    def segment(self, volume: Volume, edits: LabelEdits, progress: Progress) -> Segmentation:
        self._come("segment")
        progress("telling the bones apart", 1, 2)
        self.edits.append(edits)
        codes = np.zeros(volume.grid.shape, np.uint8)
        codes[2:4] = Bone.FEMUR_LEFT.code
        codes.ravel()[edits.voxels] = edits.codes
        knee = volume.grid.origin_mm[2] < -100
        remark = Remark(code="stick.scan", severity=Severity.WARNING, text="A stick scan.")
        return Segmentation(
            labels=LabelVolume(codes=codes, grid=volume.grid),
            levels=LEVELS,
            remarks=(remark,),
            part="knee" if knee else "",
        )

    def segment_part(
        self, volume: Volume, hips: Segmentation, edits: LabelEdits, progress: Progress
    ) -> Segmentation:
        self._come("segment_part")
        assert not hips.part
        self.calls.append("of a part")
        return self.segment(volume, edits, progress)

    def models(
        self, volume: Volume, segmented: Segmentation, tell: Share
    ) -> tuple[tuple[BoneModel, ...], tuple[Remark, ...]]:
        self._come("models")
        tell(0.5)
        models = tuple(
            BoneModel(
                bone=bone,
                surface=tetrahedron(volume.grid.frame),
                quality=BoneQuality(edge_sd_mm=0.1, edge_bias_sd_mm=0.05),
                part=segmented.part,
            )
            for bone in self.bones
        )
        return models, ()

    def judged(
        self, models: Sequence[BoneModel], segmented: Sequence[Segmentation]
    ) -> tuple[Remark, ...]:
        self._come("judged")
        return (
            Remark(
                code="stick.bone",
                severity=Severity.REFUSAL,
                text="A stick bone is not to be measured.",
                bone=Bone.HIP_BONE_LEFT,
            ),
        )

    def landmarks(self, models: Sequence[BoneModel]) -> tuple[BoneLandmarks, tuple[Remark, ...]]:
        self._come("landmarks")
        point = SpacePoint(id="pubic_tubercle", side=Side.LEFT, at_mm=(1.0, 2.0, 3.0), sd_mm=2.0)
        return BoneLandmarks(points=(point,)), ()

    def _come(self, stage: str) -> None:
        self.calls.append(stage)
        if stage == self.fails_in:
            raise self.error


class MemoryCheckpoints:
    """Results in memory."""

    def __init__(self) -> None:
        self.kept: dict[str, object] = {}

    def get(self, key: str) -> object | None:
        return self.kept.get(key)

    def put(self, key: str, result: object) -> None:
        self.kept[key] = result

    def drop(self, keys: Iterable[str]) -> None:
        for key in keys:
            self.kept.pop(key, None)


class StillClock:
    """A clock that stands."""

    def __init__(self) -> None:
        self.at = datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)

    def now(self) -> datetime:
        return self.at


def a_workshop(
    reader: StickReader | None = None,
    maker: StickMaker | None = None,
    checkpoints: MemoryCheckpoints | None = None,
) -> BoneWorkshop:
    return BoneWorkshop(
        reader=reader or StickReader(),
        files=WorkspaceBoneFiles(),
        maker=maker or StickMaker(),
        checkpoints=checkpoints or MemoryCheckpoints(),
        clock=StillClock(),
        software="hipwright test",
    )
