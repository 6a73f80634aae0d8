"""What the Bones screen asks of the rest of hipwright, in the screen's own words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone, BoneLandmarks, Remark, SpacePoint, Surface
from hipwright.domain.keeping import Image
from hipwright.domain.keeping_bones import BoneBuild, BoneReading, Job, KeptBone
from hipwright.domain.measurement import Finding
from hipwright.domain.side import Side
from hipwright.domain.volume import Volume
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_drawing import SpaceDrawing

Floats = NDArray[np.floating[Any]]

STANDING, SUPINE = "standing", "supine"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilts:
    """The pelvis's own tilts as somebody said them, forward positive; ``None`` where unknown."""

    standing_deg: float | None
    supine_deg: float | None
    source: str
    expected_version: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneMap:
    """One number a vertex, NaN where there is none, of the pieces it is known on."""

    id: str
    values: Mapping[str, Floats] = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredSide:
    """What one hip's bones gave.

    ``border`` and ``hip`` (as surveyed, without draws) are ``None`` where no frame could be
    found; the findings then say why. ``tilted`` has the values that change with the pelvis's
    tilt, by :data:`STANDING` and :data:`SUPINE`, where such a tilt was given.
    """

    findings: tuple[Finding, ...]
    border: HipBorder | None = None
    hip: HipInSpace | None = None
    head_radius_mm: float | None = None
    tilted: Mapping[str, tuple[Finding, ...]] = field(
        default_factory=dict[str, tuple[Finding, ...]]
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredBones:
    """What the bones of one build measure, with what a reader moved and said.

    ``remarks`` is what was noticed while measuring.
    """

    landmarks: BoneLandmarks
    sides: Mapping[Side, MeasuredSide]
    maps: tuple[BoneMap, ...] = ()
    remarks: tuple[Remark, ...] = ()

    def map(self, wanted: str) -> BoneMap | None:
        """The map of that id, ``None`` where it could not be made."""
        return next((one for one in self.maps if one.id == wanted), None)


class BonesAtHand(Protocol):
    """Bone models, what they measure, and the work that makes them."""

    def builds(self, person: str) -> Sequence[BoneBuild]:
        """Every build of a person, newest first."""
        ...

    def readings(self, build: BoneBuild) -> Sequence[BoneReading]:
        """The newest version of every observer's reading, newest first."""
        ...

    def move(
        self, build: BoneBuild, observer: str, point: SpacePoint, *, expected_version: int
    ) -> BoneReading:
        """Keep a landmark where a reader put it; a stale write raises ``StaleWriteError``."""
        ...

    def put_back(
        self,
        build: BoneBuild,
        observer: str,
        landmark: str,
        side: Side | None,
        *,
        expected_version: int,
    ) -> BoneReading:
        """Let a landmark be where the program found it."""
        ...

    def say_tilts(self, build: BoneBuild, observer: str, tilts: Tilts) -> BoneReading:
        """Keep how the pelvis is tilted when the person stands and lies."""
        ...

    def mesh(self, bone: KeptBone) -> bytes:
        """A bone's surface as the browser reads it."""
        ...

    def blocks(self, build: BoneBuild) -> Sequence[Volume]:
        """The blocks of slices that the hips' models were made from; takes seconds."""
        ...

    def surface(self, build: BoneBuild, bone: KeptBone) -> Surface:
        """A bone's surface in ``patient_lps``."""
        ...

    def measured(self, build: BoneBuild, reading: BoneReading | None) -> MeasuredBones:
        """Measure; takes seconds."""
        ...

    def drawing(
        self, side: MeasuredSide, definition: str, hour: float | None
    ) -> SpaceDrawing | None:
        """How a value was constructed, in the canonical pose; ``None`` where nothing is drawn."""
        ...

    def series(self, person: str) -> Sequence[Image]:
        """CT series that models can be made from, newest first."""
        ...

    def start(self, image: Image) -> Job:
        """Begin to make bone models from a series."""
        ...

    def newest_job(self, image: Image) -> Job | None:
        """The newest work on a series."""
        ...

    def cancel(self, job: str) -> Job:
        """Ask a job to stop."""
        ...


def piece_of(bone: KeptBone) -> str:
    """The name of a piece in addresses: ``femur_left``, ``femur_left.knee``."""
    return f"{bone.bone.value}.{bone.part}" if bone.part else bone.bone.value


def piece_in_words(bone: KeptBone) -> str:
    """``Left femur``, ``Left femur at the knee``."""
    return f"{bone.bone.words} at the {bone.part}" if bone.part else bone.bone.words


def is_of_hip(bone: Bone) -> bool:
    """Whether the bone belongs to a hip, so that it is shown from the start."""
    return bone.side is not None
