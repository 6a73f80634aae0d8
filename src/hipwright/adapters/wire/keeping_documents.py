"""Cases, check-ups, backups and restores as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Literal

from hipwright.adapters.wire.documents import SOFTWARE, WireModel
from hipwright.domain.keeping import (
    Case,
    Change,
    GradedReading,
    Identity,
    Image,
    Person,
    Reading,
    Study,
)
from hipwright.workflows.keep_workspace import BackupReport, Check, RestoreReport, is_sound


class WireIdentity(WireModel):
    """Who it is; only where it was asked for, for the care record."""

    name: str
    numbers: list[str]
    birth_date: date | None = None


class WireCase(WireModel):
    """One hip. ``birth_date_shifted`` is the person's date moved like all their dates."""

    id: str
    code: str
    person: str
    side: str
    summary: str
    sex: str | None = None
    birth_date_shifted: date | None = None
    opened_at: datetime
    version: int
    invented: bool
    images: int
    identity: WireIdentity | None = None


class CasesDocument(WireModel):
    """All cases of a workspace."""

    format: Literal["hipwright.cases"] = "hipwright.cases"
    version: Literal[1] = 1
    software: str = SOFTWARE
    items: list[WireCase]


class WireStudy(WireModel):
    """Images made on one occasion; the date is shifted."""

    id: str
    acquired_on_shifted: date | None = None
    label: str


class WireImage(WireModel):
    """One kept image; the date is shifted."""

    id: str
    study: str
    kind: str
    modality: str
    view: str
    laterality: str
    posture: str
    columns: int
    rows: int
    column_mm: float | None = None
    row_mm: float | None = None
    spacing_source: str
    spacing_note: str
    acquired_on_shifted: date | None = None
    phase: str
    confirmed: bool
    warnings: list[str]
    files: int
    version: int


class WireReading(WireModel):
    """One observer's newest version of one reading."""

    id: str
    image: str
    observer: str
    reading: int
    version: int
    saved_at: datetime
    points: int
    contours: int


class WireGrade(WireModel):
    """A graded reading."""

    id: str
    image: str | None = None
    definition: str
    value: str
    details: dict[str, str | float]
    observer: str
    saved_at: datetime


class WireChange(WireModel):
    """One entry of the case's history."""

    version: int
    at: datetime
    by: str
    device: str
    before: dict[str, object]
    after: dict[str, object]


class CaseDocument(WireModel):
    """One case with what is kept of it."""

    format: Literal["hipwright.case"] = "hipwright.case"
    version: Literal[1] = 1
    software: str = SOFTWARE
    case: WireCase
    studies: list[WireStudy]
    images: list[WireImage]
    readings: list[WireReading]
    grades: list[WireGrade]
    history: list[WireChange]


class WireCheck(WireModel):
    """One thing that was looked at."""

    about: str
    state: Literal["ok", "note", "problem"]
    told: str
    next_step: str


class DoctorDocument(WireModel):
    """A check-up."""

    format: Literal["hipwright.doctor"] = "hipwright.doctor"
    version: Literal[1] = 1
    software: str = SOFTWARE
    sound: bool
    collected: int
    items: list[WireCheck]


class BackupDocument(WireModel):
    """What a backup holds."""

    format: Literal["hipwright.backup-made"] = "hipwright.backup-made"
    version: Literal[1] = 1
    software: str = SOFTWARE
    file: str
    size_bytes: int
    files: int
    damaged: int
    with_identity: bool
    with_key: bool


class RestoreDocument(WireModel):
    """What came back from a backup."""

    format: Literal["hipwright.restored"] = "hipwright.restored"
    version: Literal[1] = 1
    software: str = SOFTWARE
    workspace: str
    made_at: str
    made_by: str
    files: int
    damaged: int
    with_identity: bool
    key_is_here: bool


def case_to_wire(
    case: Case, person: Person, *, images: int, identity: Identity | None = None
) -> WireCase:
    """One case; its identity only if the caller hands it over."""
    return WireCase(
        id=case.id,
        code=case.code,
        person=case.person,
        side=case.side.value,
        summary=case.summary,
        sex=person.sex,
        birth_date_shifted=person.birth_date_shifted,
        opened_at=case.opened_at,
        version=case.version,
        invented=case.invented,
        images=images,
        identity=identity
        and WireIdentity(
            name=identity.name, numbers=list(identity.numbers), birth_date=identity.birth_date
        ),
    )


def case_document(
    case: WireCase,
    *,
    studies: Iterable[Study],
    images: Iterable[Image],
    readings: Iterable[Reading],
    grades: Iterable[GradedReading],
    history: Iterable[Change],
) -> CaseDocument:
    """One case with what is kept of it."""
    return CaseDocument(
        case=case,
        studies=[
            WireStudy(id=s.id, acquired_on_shifted=s.acquired_on, label=s.label) for s in studies
        ],
        images=[_image(image) for image in images],
        readings=[
            WireReading(
                id=r.id,
                image=r.landmarks.image,
                observer=r.landmarks.observer,
                reading=r.landmarks.reading,
                version=r.version,
                saved_at=r.saved_at,
                points=len(r.landmarks.points),
                contours=len(r.landmarks.contours),
            )
            for r in readings
        ],
        grades=[
            WireGrade(
                id=g.id,
                image=g.image,
                definition=g.definition,
                value=g.value,
                details=g.details,
                observer=g.observer,
                saved_at=g.saved_at,
            )
            for g in grades
        ],
        history=[
            WireChange(
                version=c.version,
                at=c.at,
                by=c.by,
                device=c.device,
                before=c.before,
                after=c.after,
            )
            for c in history
        ],
    )


def doctor_document(checks: Sequence[Check], *, collected: int) -> DoctorDocument:
    """A check-up as a document."""
    return DoctorDocument(
        sound=is_sound(checks),
        collected=collected,
        items=[
            WireCheck(about=c.about, state=c.state.value, told=c.told, next_step=c.next_step)
            for c in checks
        ],
    )


def backup_document(file: str, report: BackupReport) -> BackupDocument:
    """What a backup holds, as a document."""
    return BackupDocument(
        file=file,
        size_bytes=report.size_bytes,
        files=report.files,
        damaged=report.damaged,
        with_identity=report.with_identity,
        with_key=report.with_key,
    )


def restore_document(workspace: str, report: RestoreReport) -> RestoreDocument:
    """What came back, as a document."""
    return RestoreDocument(
        workspace=workspace,
        made_at=report.made_at,
        made_by=report.software,
        files=report.files,
        damaged=report.damaged,
        with_identity=report.with_identity,
        key_is_here=report.key_is_here,
    )


KEEPING_DOCUMENTS: Mapping[str, type[WireModel]] = {
    "hipwright.cases": CasesDocument,
    "hipwright.case": CaseDocument,
    "hipwright.doctor": DoctorDocument,
    "hipwright.backup-made": BackupDocument,
    "hipwright.restored": RestoreDocument,
}
"""Every document of this module by its format, for the schemas in the docs."""


def _image(image: Image) -> WireImage:
    calibration = image.calibration
    calibrated = calibration.is_calibrated
    return WireImage(
        id=image.id,
        study=image.study,
        kind=image.kind.value,
        modality=image.modality,
        view=image.view.value,
        laterality=image.laterality.value,
        posture=image.posture.value,
        columns=image.columns,
        rows=image.rows,
        column_mm=calibration.column_mm if calibrated else None,
        row_mm=calibration.row_mm if calibrated else None,
        spacing_source=calibration.source.value,
        spacing_note=calibration.note,
        acquired_on_shifted=image.acquired_on,
        phase=image.phase,
        confirmed=image.confirmed,
        warnings=list(image.warnings),
        files=len(image.files),
        version=image.version,
    )
