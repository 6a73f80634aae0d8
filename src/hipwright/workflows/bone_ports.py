"""What making bones needs from the outside, as protocols that adapters and engines fulfil."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import BoneLandmarks, BoneModel, Remark, Surface
from hipwright.domain.frames import Frame
from hipwright.domain.volume import LabelEdits, LabelVolume, Volume
from hipwright.engines.segmentation.segmentation import Segmentation
from hipwright.workflows.ports import Progress


class BoneFiles(Protocol):
    """Writes surfaces, labels and hand edits as files of the workspace, and reads them.

    Readers raise ``SurfaceError`` or ``VolumeError`` for bytes that are no such file.
    """

    def surface_bytes(self, surface: Surface) -> bytes: ...
    def surface(self, content: bytes, frame: Frame) -> Surface: ...
    def labels_bytes(self, labels: LabelVolume) -> bytes: ...
    def labels(self, content: bytes) -> LabelVolume: ...
    def edits_bytes(self, edits: LabelEdits) -> bytes: ...
    def edits(self, content: bytes) -> LabelEdits: ...


Share = Callable[[float], None]
"""Called with how much of a stage is done, 0 to 1."""


class BoneMaker(Protocol):
    """Makes bones of volumes, stage by stage."""

    def segment(self, volume: Volume, edits: LabelEdits, progress: Progress) -> Segmentation:
        """Tell the bones of one volume apart; the edits outrank what the program thinks."""
        ...

    def segment_part(
        self, volume: Volume, hips: Segmentation, edits: LabelEdits, progress: Progress
    ) -> Segmentation:
        """Tell the bones of a block at the knees or ankles apart; the hips tell the sides."""
        ...

    def models(
        self, volume: Volume, segmented: Segmentation, tell: Share
    ) -> tuple[tuple[BoneModel, ...], tuple[Remark, ...]]:
        """Closed surfaces of a volume's bones, and what was noticed on the way."""
        ...

    def judged(
        self, models: Sequence[BoneModel], segmented: Sequence[Segmentation]
    ) -> tuple[Remark, ...]:
        """What the finished bones of a scan look like; a refusal stops measuring."""
        ...

    def landmarks(self, models: Sequence[BoneModel]) -> tuple[BoneLandmarks, tuple[Remark, ...]]:
        """Landmarks on the bones, and what was noticed about them."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeshFile:
    """A triangle mesh as a file holds it, in its own unit and axes.

    ``vertices`` (n, 3), ``faces`` (m, 3); corners in one place are one vertex.
    """

    vertices: NDArray[np.float64] = field(repr=False)
    faces: NDArray[np.int32] = field(repr=False)


class MeshFiles(Protocol):
    """Reads triangle meshes made elsewhere."""

    def recognizes(self, path: Path) -> bool: ...
    def read(self, path: Path) -> MeshFile:
        """Read a mesh.

        Raises
        ------
        SurfaceError
            The file holds no triangle mesh that can be read.
        """
        ...


class Checkpoints(Protocol):
    """Results of finished stages of a long piece of work, so that it can go on from there.

    What is lost here costs time, never data.
    """

    def get(self, key: str) -> object | None: ...
    def put(self, key: str, result: object) -> None: ...
    def drop(self, keys: Iterable[str]) -> None: ...
