"""What a practice keeps: people, cases, studies, images, readings.

A *case* is one hip of one person through time. Studies and images belong to
the person, readings to a case; both hips of a film can be read in one pass.
Nothing here carries identity: a person is an id, dates are shifted by the
person's own offset, original identifiers stay in the identity store.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum

from hipwright.domain.landmarks import LandmarkSet
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Film, Posture, View


class ImageKind(Enum):
    """What one kept image is."""

    FILM = "film"
    SERIES = "series"
    PICTURE = "picture"


class Laterality(Enum):
    """Which hips an image shows."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"
    UNKNOWN = "unknown"

    def shows(self, side: Side) -> bool:
        """Whether that side's hip is on the image, as far as is known."""
        return self in {Laterality.BOTH, Laterality.UNKNOWN} or self.value == side.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody with hips; who it is, only the identity store knows.

    ``sex`` and ``birth_year_shifted`` are kept so that ages and sex-specific
    ranges work without identity: ages are right because every date of a
    person is shifted by the same number of days.
    """

    id: str
    sex: str | None
    birth_date_shifted: date | None
    invented: bool = False
    version: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One hip of one person: a person has at most one case a side.

    ``code`` is what people say and type; ``id`` is what rows refer to.
    """

    id: str
    code: str
    person: str
    side: Side
    summary: str
    opened_at: datetime
    version: int = 1
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """Images made on one occasion.

    ``source_uid`` is the remapped UID of the sender's study, empty where the
    images came without one.
    """

    id: str
    person: str
    acquired_on: date | None
    label: str
    source_uid: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Image:
    """One kept image: a film, a series of slices, or a picture.

    ``files`` are the SHA-256 digests of the stored, de-identified files, in
    slice order; ``source_uids`` the remapped instance UIDs of the same files, or
    nothing where the sender gave none. ``view`` and ``laterality`` are what the
    reader or the header said; ``confirmed`` tells whether a reader has agreed.
    """

    id: str
    study: str
    person: str
    kind: ImageKind
    modality: str
    view: View
    laterality: Laterality
    posture: Posture
    calibration: Calibration
    columns: int
    rows: int
    files: tuple[str, ...]
    acquired_on: date | None
    patient_right_at_image_left: bool = True
    anterior_at_image_right: bool | None = None
    phase: str = ""
    confirmed: bool = False
    warnings: tuple[str, ...] = ()
    source_uids: tuple[str, ...] = ()
    version: int = 1

    def film(self) -> Film:
        """The image as the engines see it."""
        return Film(
            image=self.id,
            view=self.view,
            columns=self.columns,
            rows=self.rows,
            calibration=self.calibration,
            posture=self.posture,
            patient_right_at_image_left=self.patient_right_at_image_left,
            anterior_at_image_right=self.anterior_at_image_right,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One version of one observer's landmarks on one film."""

    id: str
    case: str
    landmarks: LandmarkSet
    version: int
    saved_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class GradedReading:
    """A grade entered by a reader from the catalog's value list."""

    id: str
    case: str
    image: str | None
    definition: str
    value: str
    details: dict[str, str | float]
    observer: str
    saved_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Who a person is. Lives only in the identity store and on clinicians' screens."""

    person: str
    name: str
    numbers: tuple[str, ...]
    birth_date: date | None
    sex: str | None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A file that was not taken in, and why. The name is shown, never kept."""

    file: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One entry of a thing's history: who changed what, when, on which machine.

    ``before`` and ``after`` hold only the fields that differ, as they are
    kept; the first entry of a thing has nothing before.
    """

    thing: str
    version: int
    at: datetime
    by: str
    device: str
    before: dict[str, object]
    after: dict[str, object]
