"""What workflows need from the outside, as protocols that adapters fulfil."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import Enum
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.keeping import (
    Case,
    Change,
    GradedReading,
    Identity,
    Image,
    Person,
    Reading,
    Rejected,
    Study,
)
from hipwright.domain.keeping_bones import BoneBuild, BoneReading, Job, JobState, KeptEdits
from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.volume import Volume

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much is done, and of how much (0: unknown)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """Pixels of a film as shown: modality values after rescale, bright = dense.

    ``pixels`` is (rows, columns) uint16 with low values dark whatever the file's
    photometric interpretation was; ``window_center`` and ``window_width`` are in the
    same units.
    """

    pixels: NDArray[np.uint16] = field(repr=False)
    window_center: float
    window_width: float


class Keeper(Protocol):
    """The workspace's memory: append-only rows, content-addressed files.

    Ids are UUIDv7 text from :meth:`new_id`. Where a parameter is called ``case``
    it takes the case's id or its code. ``expected_version`` is the version the
    writer has seen (0: none yet); if another one is kept by now, the write
    raises ``StaleWriteError`` with both values. Saving what is kept already
    changes nothing and returns it.
    """

    def new_id(self) -> str:
        """Make an id for a row that is about to be kept."""
        ...

    def new_code(self) -> str:
        """Make a case code that no case of this workspace has, such as ``K7M-4QX``."""
        ...

    def transaction(self, *, by: str | None = None) -> AbstractContextManager[None]:
        """All or nothing; nested calls join the outer one.

        Read and compute first: inside, no other writer can write. ``by`` says who
        changes things (``human:`` and a code, or a program's name).
        """
        ...

    def add_person(self, person: Person) -> None: ...
    def person(self, person: str) -> Person: ...
    def persons(self) -> Sequence[Person]: ...
    def change_person(self, person: Person, *, expected_version: int) -> Person: ...
    def add_case(self, case: Case) -> None:
        """Open a case; its ``code`` may be the user's own choice."""
        ...

    def case(self, code: str) -> Case:
        """The case with that code, in any case, with or without hyphen, or an only prefix."""
        ...

    def cases(self) -> Sequence[Case]: ...
    def cases_of(self, person: str) -> Sequence[Case]: ...
    def change_case(self, case: Case, *, expected_version: int) -> Case: ...
    def add_study(self, study: Study) -> None: ...
    def study(self, study: str) -> Study: ...
    def studies_of(self, person: str) -> Sequence[Study]: ...
    def study_from(self, source_uid: str) -> Study | None:
        """The study that was imported under this remapped UID."""
        ...

    def add_image(self, image: Image) -> None:
        """Keep an image; its files must be kept already."""
        ...

    def image(self, image: str) -> Image: ...
    def images_of(self, person: str) -> Sequence[Image]: ...
    def images_from(self, source_uid: str) -> Sequence[Image]:
        """The images that hold the instance with this remapped UID."""
        ...

    def images_with_file(self, sha256: str) -> Sequence[Image]: ...
    def change_image(self, image: Image, *, expected_version: int) -> Image: ...
    def save_reading(
        self, case: str, landmarks: LandmarkSet, *, expected_version: int
    ) -> Reading: ...
    def readings_of(self, image: str) -> Sequence[Reading]:
        """The newest version of every observer's every reading of that image."""
        ...

    def reading_history(self, image: str, observer: str, reading: int) -> Sequence[Reading]: ...
    def repeat_readings_by(self, observer: str) -> Sequence[Reading]:
        """The newest version of that observer's readings of images read more than once."""
        ...

    def save_grade(self, grade: GradedReading) -> None: ...
    def grades_of(self, case: str) -> Sequence[GradedReading]:
        """The newest value of every definition, image and observer."""
        ...

    def history_of(self, thing: str) -> Sequence[Change]:
        """Every change of the person, case or image with that id, first to last."""
        ...

    def put_file(self, content: bytes) -> str:
        """Keep a file, return its SHA-256; keeping the same file twice keeps one.

        Returns once the file is on the disk. A file that no row comes to
        refer to is collected by ``doctor --repair`` after a day.
        """
        ...

    def get_file(self, sha256: str) -> bytes:
        """The file's bytes, checked against their digest."""
        ...

    def has_file(self, sha256: str) -> bool: ...


class BoneKeeper(Protocol):
    """The part of the workspace's memory that keeps bone models and long jobs.

    The same rules as :class:`Keeper`'s: append-only rows, content-addressed files,
    ``StaleWriteError`` where somebody else saved first.
    """

    def add_bone_build(self, build: BoneBuild) -> BoneBuild:
        """Keep a build, whose files are kept already; its number is given here."""
        ...

    def bone_build(self, build: str) -> BoneBuild: ...
    def bone_builds_of(self, person: str) -> Sequence[BoneBuild]:
        """Every build of a person, newest first."""
        ...

    def save_bone_reading(self, reading: BoneReading, *, expected_version: int) -> BoneReading:
        """Keep a version; one observer has one reading of a build, whose id stays."""
        ...

    def bone_readings_of(self, build: str) -> Sequence[BoneReading]:
        """The newest version of every observer's reading of a build, newest first."""
        ...

    def save_label_edits(self, edits: KeptEdits, *, expected_version: int) -> KeptEdits: ...
    def label_edits_of(self, image: str) -> KeptEdits | None:
        """The newest edits of a series' labels."""
        ...

    def add_job(self, job: Job) -> Job: ...
    def job(self, job: str) -> Job: ...
    def jobs_on(self, subject: str, kind: str | None = None) -> Sequence[Job]:
        """Jobs on a subject, newest first."""
        ...

    def beat(self, job: str, *, done: int, total: int, message: str) -> Job:
        """Say how far a job is; the answer tells whether somebody asked to cancel it.

        A job that is over stays as it ended: so do :meth:`end_job` and
        :meth:`ask_to_cancel`, and the answer tells.
        """
        ...

    def end_job(
        self, job: str, state: JobState, *, result: str = "", error: dict[str, str] | None = None
    ) -> Job: ...
    def ask_to_cancel(self, job: str) -> Job: ...
    def mark_orphans(self, *, older_than: datetime) -> Sequence[Job]:
        """Mark running jobs without a heartbeat since then as interrupted; return them."""
        ...


class WorkspaceKeeper(Keeper, BoneKeeper, Protocol):
    """The whole memory of a workspace."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesPlace:
    """Where a series lies, by the heights of its end slices, and how it was made."""

    frame: str
    low_mm: float
    high_mm: float
    slices: int
    thickness_mm: float | None
    kernel: str


class VolumeReader(Protocol):
    """Reads a kept series as volumes."""

    def place(self, image: Image, get_file: Callable[[str], bytes]) -> SeriesPlace | None:
        """Where a series lies, from two of its files; ``None`` for what does not say."""
        ...

    def read(
        self, image: Image, get_file: Callable[[str], bytes], progress: Progress
    ) -> tuple[Volume, ...]:
        """Blocks of slices with even steps, from below upward in ``patient_lps``.

        A scan with a block at the hips and another at the knees gives two. All share one
        frame of reference.

        Raises
        ------
        VolumeError
            Slices are missing, mixed, not parallel, or not in Hounsfield units.
        """
        ...


class IdentityKeeper(Protocol):
    """The encrypted store of who is who. Its key lies outside the workspace."""

    def save(self, identity: Identity) -> None:
        """Keep who that person is; a change is a further version.

        A number that another person has is refused.
        """
        ...

    def of(self, person: str) -> Identity | None: ...
    def find(self, *, number: str) -> str | None:
        """The person that has that patient number, found by a keyed digest."""
        ...

    def date_shift_days(self, person: str) -> int:
        """The one shift of all dates of that person, made at first use."""
        ...

    def remapped_uid(self, original: str) -> str:
        """The new UID that stands for an original one: the same each time, irreversible."""
        ...

    def true_date(self, person: str, shifted: date) -> date: ...


class Clock(Protocol):
    """Where time comes from."""

    def now(self) -> datetime: ...


class FilmPrinter(Protocol):
    """Makes the shown part of a film into a PNG for documents."""

    def film_png(self, picture: Picture, crop_px: tuple[float, float, float, float]) -> bytes: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundFile:
    """One file in a folder, an archive or on a disc, not yet judged.

    ``name`` is made safe to print and is shown, never kept. ``read`` gives the
    whole content, ``head`` the first bytes of it; both may raise ``OSError``
    or ``ImportRefusedError``.
    """

    name: str
    size: int
    read: Callable[[], bytes] = field(repr=False)
    head: Callable[[int], bytes] = field(repr=False)


class Finder(Protocol):
    """Walks folders, archives and discs; what cannot be opened comes back as rejected."""

    def find(self, paths: Iterable[Path]) -> Iterable[FoundFile | Rejected]: ...


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GrayFile:
    """An ordinary picture, written anew without anything beside its pixels."""

    stored: bytes = field(repr=False)
    rows: int
    columns: int


class PictureFiles(Protocol):
    """Reads ordinary pictures: PNG, JPEG, TIFF."""

    def recognizes(self, head: bytes) -> bool: ...
    def read(self, content: bytes) -> GrayFile: ...
    def shown(self, content: bytes) -> Picture: ...


class Asked(Enum):
    """What the importer could not settle by itself."""

    SIDE = "side"
    VIEW = "view"
    PIXELS = "pixels"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something only a person can settle. ``image`` is the image's id, or ``None`` for all."""

    asked: Asked
    text: str
    image: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrivingImage:
    """One image as the dock read it: de-identified bytes, and what the header proposes.

    ``contents`` may be lazy: the bytes lie in a temporary file until they are
    kept. ``image.files`` is empty until then. ``names`` are the files' names,
    for the list of what was turned away; they are never kept.
    """

    image: Image
    study: Study
    contents: Sequence[bytes] = field(repr=False)
    names: tuple[str, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """What one import would bring in for one person, before anything is kept.

    ``sides_meant`` are the sides that the sender's descriptions name.
    """

    person: Person
    identity: Identity | None
    images: tuple[ArrivingImage, ...]
    questions: tuple[Question, ...] = ()
    warnings: tuple[str, ...] = ()
    sides_meant: frozenset[Side] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """Everything one import found: the people's images, and what was turned away."""

    arrivals: tuple[Arrival, ...]
    rejected: tuple[Rejected, ...] = ()
    questions: tuple[Question, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFile:
    """What tells one stored file from another: its new UID, and a digest of its pixels."""

    uid: str
    pixels_sha256: str


class Dock(Protocol):
    """Reads folders, archives, discs and single files."""

    def read(
        self,
        paths: Iterable[Path],
        *,
        progress: Progress,
        person: str | None = None,
        person_of_study: Callable[[str], str | None] | None = None,
        pixels_checked: bool = False,
    ) -> Delivery:
        """Read and de-identify, keep nothing.

        ``person`` is whose images these are, where the caller already knows;
        ``person_of_study`` finds the owner of a study by its remapped UID, for
        files without a patient number. ``pixels_checked`` says that somebody
        has looked and that no name stands in the pictures.
        """
        ...

    def picture(self, content: bytes) -> Picture: ...
    def identify(self, content: bytes) -> StoredFile: ...
