"""The tables. Every one is append-only: what changes is a further version row.

A thing that can change has two tables: its fixed facts, and its versions counted
from 1; the newest version is what is so now. Every row says on which device it was
made, when and by whom. No column holds identity: dates are shifted, UIDs remapped.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Double, ForeignKey, Index, MetaData, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column

from hipwright.adapters.store.column_types import Id, UtcTime

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """All tables of a workspace."""

    metadata = MetaData(naming_convention=NAMES)


class _Row:
    """What every row has: its id, and where, when and by whom it was made."""

    id: Mapped[str] = mapped_column(Id, primary_key=True, sort_order=-9)
    recorded_at: Mapped[datetime] = mapped_column(UtcTime, sort_order=-7)
    recorded_by: Mapped[str] = mapped_column(String(120), sort_order=-6)

    @declared_attr
    def origin(self) -> Mapped[str]:
        """The device on which the row was made."""
        return mapped_column(Id, ForeignKey("device.id"), sort_order=-8)


class DeviceRow(_Row, Base):
    """One machine that has written here; its origin is itself."""

    __tablename__ = "device"


class WorkspaceRow(_Row, Base):
    """What the workspace is; the newest row counts."""

    __tablename__ = "workspace"

    workspace: Mapped[str] = mapped_column(Id)
    software: Mapped[str] = mapped_column(String(40))


class PersonRow(_Row, Base):
    """Somebody with hips."""

    __tablename__ = "person"

    invented: Mapped[bool]


class PersonVersionRow(_Row, Base):
    """What is known of a person besides identity."""

    __tablename__ = "person_version"
    __table_args__ = (UniqueConstraint("person_id", "version"),)

    person_id: Mapped[str] = mapped_column(Id, ForeignKey("person.id"))
    version: Mapped[int]
    sex: Mapped[str | None] = mapped_column(String(16))
    birth_date_shifted: Mapped[date | None]


class CaseRow(_Row, Base):
    """One hip of one person; ``code_key`` is the code as it is looked up."""

    __tablename__ = "hip_case"
    __table_args__ = (UniqueConstraint("person_id", "side"), UniqueConstraint("code_key"))

    code: Mapped[str] = mapped_column(String(32))
    code_key: Mapped[str] = mapped_column(String(32))
    person_id: Mapped[str] = mapped_column(Id, ForeignKey("person.id"))
    side: Mapped[str] = mapped_column(String(8))
    opened_at: Mapped[datetime] = mapped_column(UtcTime)
    invented: Mapped[bool]


class CaseVersionRow(_Row, Base):
    """What is said of a case."""

    __tablename__ = "hip_case_version"
    __table_args__ = (UniqueConstraint("case_id", "version"),)

    case_id: Mapped[str] = mapped_column(Id, ForeignKey("hip_case.id"))
    version: Mapped[int]
    summary: Mapped[str] = mapped_column(Text)


class StudyRow(_Row, Base):
    """Images made on one occasion."""

    __tablename__ = "study"
    __table_args__ = (UniqueConstraint("source_uid"), Index(None, "person_id"))

    person_id: Mapped[str] = mapped_column(Id, ForeignKey("person.id"))
    acquired_on: Mapped[date | None]
    label: Mapped[str] = mapped_column(Text)
    source_uid: Mapped[str | None] = mapped_column(String(64))


class ImageRow(_Row, Base):
    """The fixed facts of an image."""

    __tablename__ = "image"
    __table_args__ = (Index(None, "person_id"),)

    study_id: Mapped[str] = mapped_column(Id, ForeignKey("study.id"))
    person_id: Mapped[str] = mapped_column(Id, ForeignKey("person.id"))
    kind: Mapped[str] = mapped_column(String(16))
    modality: Mapped[str] = mapped_column(String(16))
    columns: Mapped[int]
    rows: Mapped[int]
    acquired_on: Mapped[date | None]


class ImageFileRow(_Row, Base):
    """One stored file of an image, in slice order.

    A version of the image that brings other files, such as missing slices that came
    later, has the whole list anew; the others keep the list of the version before.
    """

    __tablename__ = "image_file"
    __table_args__ = (
        UniqueConstraint("image_id", "version", "position"),
        Index(None, "sha256"),
        Index(None, "source_uid"),
    )

    image_id: Mapped[str] = mapped_column(Id, ForeignKey("image.id"))
    version: Mapped[int]
    position: Mapped[int]
    sha256: Mapped[str] = mapped_column(String(64))
    source_uid: Mapped[str | None] = mapped_column(String(64))


class ImageVersionRow(_Row, Base):
    """What a header proposed or a reader said about an image."""

    __tablename__ = "image_version"
    __table_args__ = (UniqueConstraint("image_id", "version"),)

    image_id: Mapped[str] = mapped_column(Id, ForeignKey("image.id"))
    version: Mapped[int]
    view: Mapped[str] = mapped_column(String(24))
    laterality: Mapped[str] = mapped_column(String(8))
    posture: Mapped[str] = mapped_column(String(16))
    calibration: Mapped[dict[str, Any]] = mapped_column(JSON)
    patient_right_at_image_left: Mapped[bool]
    anterior_at_image_right: Mapped[bool | None]
    phase: Mapped[str] = mapped_column(Text)
    confirmed: Mapped[bool]
    warnings: Mapped[list[str]] = mapped_column(JSON)


class ReadingRow(_Row, Base):
    """One observer's nth reading of one image."""

    __tablename__ = "reading"
    __table_args__ = (UniqueConstraint("image_id", "observer", "number"),)

    image_id: Mapped[str] = mapped_column(Id, ForeignKey("image.id"))
    observer: Mapped[str] = mapped_column(String(120))
    number: Mapped[int]


class ReadingVersionRow(_Row, Base):
    """The landmarks of a reading as they were saved, and from which case."""

    __tablename__ = "reading_version"
    __table_args__ = (UniqueConstraint("reading_id", "version"),)

    reading_id: Mapped[str] = mapped_column(Id, ForeignKey("reading.id"))
    version: Mapped[int]
    case_id: Mapped[str] = mapped_column(Id, ForeignKey("hip_case.id"))
    landmarks: Mapped[dict[str, Any]] = mapped_column(JSON)


class GradeRow(_Row, Base):
    """A grade entered by a reader; a later one takes its place."""

    __tablename__ = "grade"
    __table_args__ = (Index(None, "case_id"),)

    case_id: Mapped[str] = mapped_column(Id, ForeignKey("hip_case.id"))
    image_id: Mapped[str | None] = mapped_column(Id, ForeignKey("image.id"))
    definition: Mapped[str] = mapped_column(String(120))
    value: Mapped[str] = mapped_column(String(120))
    details: Mapped[dict[str, Any]] = mapped_column(JSON)
    observer: Mapped[str] = mapped_column(String(120))
    saved_at: Mapped[datetime] = mapped_column(UtcTime)


class BoneBuildRow(_Row, Base):
    """Bone models made once, from a scan or from meshes."""

    __tablename__ = "bone_build"
    __table_args__ = (UniqueConstraint("person_id", "number"),)

    person_id: Mapped[str] = mapped_column(Id, ForeignKey("person.id"))
    number: Mapped[int]
    made_from: Mapped[str] = mapped_column(String(16))
    landmarks: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    remarks: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    labels_file: Mapped[str | None] = mapped_column(String(64))
    edits_file: Mapped[str | None] = mapped_column(String(64))
    software: Mapped[str] = mapped_column(String(40))
    made_by: Mapped[str] = mapped_column(String(120))
    made_at: Mapped[datetime] = mapped_column(UtcTime)


class BoneBuildImageRow(_Row, Base):
    """One series that a build was made from, the hip block first."""

    __tablename__ = "bone_build_image"
    __table_args__ = (UniqueConstraint("build_id", "position"),)

    build_id: Mapped[str] = mapped_column(Id, ForeignKey("bone_build.id"))
    position: Mapped[int]
    image_id: Mapped[str] = mapped_column(Id, ForeignKey("image.id"))


class KeptBoneRow(_Row, Base):
    """One bone of a build."""

    __tablename__ = "kept_bone"
    __table_args__ = (UniqueConstraint("build_id", "bone", "part"),)

    build_id: Mapped[str] = mapped_column(Id, ForeignKey("bone_build.id"))
    bone: Mapped[str] = mapped_column(String(24))
    part: Mapped[str] = mapped_column(String(24))
    surface_file: Mapped[str] = mapped_column(String(64))
    triangles: Mapped[int]
    quality: Mapped[dict[str, Any]] = mapped_column(JSON)
    cut_low: Mapped[bool]
    cut_high: Mapped[bool]


class BoneReadingRow(_Row, Base):
    """What one observer says about one build."""

    __tablename__ = "bone_reading"
    __table_args__ = (UniqueConstraint("build_id", "observer"),)

    build_id: Mapped[str] = mapped_column(Id, ForeignKey("bone_build.id"))
    observer: Mapped[str] = mapped_column(String(120))


class BoneReadingVersionRow(_Row, Base):
    """Moved landmarks and the pelvis's tilts as they were saved."""

    __tablename__ = "bone_reading_version"
    __table_args__ = (UniqueConstraint("reading_id", "version"),)

    reading_id: Mapped[str] = mapped_column(Id, ForeignKey("bone_reading.id"))
    version: Mapped[int]
    moved: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    standing_tilt_deg: Mapped[float | None] = mapped_column(Double)
    supine_tilt_deg: Mapped[float | None] = mapped_column(Double)
    tilt_source: Mapped[str] = mapped_column(Text)


class LabelEditsRow(_Row, Base):
    """A version of the hand edits of a series' labels."""

    __tablename__ = "label_edits"
    __table_args__ = (UniqueConstraint("image_id", "version"),)

    image_id: Mapped[str] = mapped_column(Id, ForeignKey("image.id"))
    version: Mapped[int]
    edits_file: Mapped[str] = mapped_column(String(64))
    saved_by: Mapped[str] = mapped_column(String(120))


class JobRow(_Row, Base):
    """One long piece of work; its subject may be an image, a person or a case."""

    __tablename__ = "job"
    __table_args__ = (Index(None, "subject"),)

    kind: Mapped[str] = mapped_column(String(40))
    subject: Mapped[str] = mapped_column(String(64))
    started_at: Mapped[datetime] = mapped_column(UtcTime)


class JobEventRow(_Row, Base):
    """How far a job was at one moment; the newest row tells all that is so now."""

    __tablename__ = "job_event"
    __table_args__ = (UniqueConstraint("job_id", "version"),)

    job_id: Mapped[str] = mapped_column(Id, ForeignKey("job.id"))
    version: Mapped[int]
    state: Mapped[str] = mapped_column(String(16))
    done: Mapped[int]
    total: Mapped[int]
    message: Mapped[str] = mapped_column(Text)
    cancel_asked: Mapped[bool]
    result: Mapped[str] = mapped_column(String(64))
    error: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
