"""Bone models as the workspace keeps them: every build, every moved landmark, every edit.

Nothing is overwritten: making the models again adds a build, moving a landmark adds a
version of a reading, painting a label adds a version of the edits.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum

from hipwright.domain.anatomy import Bone, BoneLandmarks, BoneQuality, Remark


class BuildOrigin(Enum):
    """What bone models were made from."""

    CT = "ct"
    MESHES = "meshes"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptBone:
    """One bone of a build: its surface lies in the file with that digest."""

    bone: Bone
    surface_file: str
    triangles: int
    quality: BoneQuality
    part: str = ""
    cut_low: bool = False
    cut_high: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneBuild:
    """Bone models made once from one scan, or imported as meshes.

    ``images`` are the ids of the series they came from, the hip block first (empty for
    meshes); ``labels_file`` and ``edits_file`` the digests of the label volume and of the
    edits that went in, empty where there are none. ``number`` counts the builds of a person.
    """

    id: str
    person: str
    number: int
    origin: BuildOrigin
    images: tuple[str, ...]
    bones: tuple[KeptBone, ...]
    landmarks: BoneLandmarks
    remarks: tuple[Remark, ...]
    labels_file: str
    edits_file: str
    software: str
    by: str
    made_at: datetime

    def bone(self, bone: Bone, part: str = "") -> KeptBone | None:
        """The kept bone of that name and part, or ``None``."""
        return next((b for b in self.bones if (b.bone, b.part) == (bone, part)), None)

    def remarks_on(self, bone: Bone | None) -> tuple[Remark, ...]:
        """What was noticed about a bone (``None``: about the scan)."""
        return tuple(r for r in self.remarks if r.bone is bone)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneReading:
    """What one observer moved and said about one build; the newest version counts.

    ``moved`` holds only landmarks a person placed. The tilts are the pelvis's own, forward
    positive, from the anterior pelvic plane to the vertical (standing) or the table
    (supine), with their source in words; ``None`` where nobody has said.
    """

    id: str
    build: str
    observer: str
    moved: BoneLandmarks
    standing_tilt_deg: float | None
    supine_tilt_deg: float | None
    tilt_source: str
    version: int
    saved_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptEdits:
    """A version of the hand edits of one series' labels."""

    image: str
    edits_file: str
    by: str
    version: int
    saved_at: datetime


class JobState(Enum):
    """How far a long piece of work is."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELED = "canceled"
    INTERRUPTED = "interrupted"

    @property
    def is_over(self) -> bool:
        """Whether nothing more will happen."""
        return self not in {JobState.WAITING, JobState.RUNNING}


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One long piece of work: what, how far, how it ended.

    ``subject`` is the id of what it works on (an image, a case); ``result`` the id of what
    it made. ``error`` is an error document (code, message, found, needed, help).
    """

    id: str
    kind: str
    subject: str
    state: JobState
    done: int
    total: int
    message: str
    started_at: datetime
    heartbeat_at: datetime
    ended_at: datetime | None = None
    result: str = ""
    error: dict[str, str] | None = None
    cancel_asked: bool = False
