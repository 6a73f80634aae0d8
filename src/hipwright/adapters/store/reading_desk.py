"""Readings and grades."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, RowMapping, Select, func, select

from hipwright.adapters.store.desk import (
    checked_id,
    hold,
    known_id,
    not_found,
    refuse_stale,
    refuse_taken,
)
from hipwright.adapters.store.image_desk import ImageDesk
from hipwright.adapters.store.landmark_json import from_json, to_json
from hipwright.adapters.store.models import GradeRow, ImageRow, ReadingRow, ReadingVersionRow
from hipwright.adapters.store.transactions import Writer
from hipwright.adapters.store.versions import history
from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping import Case, Change, GradedReading, Reading
from hipwright.domain.landmarks import LandmarkSet

_READING = ReadingRow.__table__.c
_VERSION = ReadingVersionRow.__table__.c
_GRADE = GradeRow.__table__.c

_VERSIONS = (
    select(_READING.image_id, _READING.observer, _READING.number, ReadingVersionRow.__table__)
    .join(ReadingVersionRow.__table__, _VERSION.reading_id == _READING.id)
    .order_by(_READING.id, _VERSION.version)
)

_OTHER = ReadingVersionRow.__table__.alias("other")
_LAST = select(func.max(_OTHER.c.version)).where(_OTHER.c.reading_id == _READING.id)
_NEWEST = _VERSIONS.where(_VERSION.version == _LAST.scalar_subquery())


class ReadingDesk(ImageDesk):
    """Keeps what readers placed and graded."""

    def save_reading(self, case: str, landmarks: LandmarkSet, *, expected_version: int) -> Reading:
        """Add a version of a reading, the first of which is version 1."""
        with self.transactions.writing("cannot save the reading") as writer:
            image_id = known_id(landmarks.image, of="image")
            hold(writer, ImageRow, image_id)
            found_case = self.case(case)
            _refuse_strangers(writer, found_case, image_id, of="reading")
            same = _same(image_id, landmarks.observer, landmarks.reading)
            row = writer.connection.execute(_NEWEST.where(*same)).mappings().one_or_none()
            kept = _reading(row) if row is not None else None
            if kept is not None and to_json(kept.landmarks) == to_json(landmarks):
                return kept
            refuse_stale(
                of="reading",
                kept=kept,
                version=kept.version if kept else 0,
                expected=expected_version,
                offered=landmarks,
            )
            reading_id = row["reading_id"] if row is not None else self.new_id()
            if row is None:
                facts = {
                    "id": reading_id,
                    "image_id": image_id,
                    "observer": landmarks.observer,
                    "number": landmarks.reading,
                }
                self.insert(writer, ReadingRow, [facts])
            new = Reading(
                id=self.new_id(),
                case=found_case.id,
                landmarks=landmarks,
                version=expected_version + 1,
                saved_at=self.now(),
            )
            self.insert(writer, ReadingVersionRow, [_version_row(reading_id, new)])
            return new

    def readings_of(self, image: str) -> Sequence[Reading]:
        """List the newest version of every reading of an image."""
        image_id = known_id(image, of="image")
        return self._readings(_NEWEST.where(_READING.image_id == image_id))

    def reading_history(self, image: str, observer: str, reading: int) -> Sequence[Reading]:
        """List every version of one reading, first to last."""
        same = _same(known_id(image, of="image"), observer, reading)
        return self._readings(_VERSIONS.where(*same))

    def repeat_readings_by(self, observer: str) -> Sequence[Reading]:
        """List the newest version of every reading of images this observer read repeatedly."""
        repeated = (
            select(_READING.image_id)
            .where(_READING.observer == observer)
            .group_by(_READING.image_id)
            .having(func.count() > 1)
        )
        mine = (_READING.observer == observer, _READING.image_id.in_(repeated))
        return self._readings(_NEWEST.where(*mine))

    def save_grade(self, grade: GradedReading) -> None:
        """Keep a grade; it takes the place of an older one of the same kind."""
        with self.transactions.writing("cannot save the grade") as writer:
            case = self.case(grade.case)
            image_id = None if grade.image is None else known_id(grade.image, of="image")
            if image_id is not None:
                _refuse_strangers(writer, case, image_id, of="grade")
            row = {
                "id": checked_id(grade.id, of="grade"),
                "case_id": case.id,
                "image_id": image_id,
                "definition": grade.definition,
                "value": grade.value,
                "details": dict(grade.details),
                "observer": grade.observer,
                "saved_at": grade.saved_at,
            }
            refuse_taken(writer.connection, GradeRow, row["id"], of="grade")
            self.insert(writer, GradeRow, [row])

    def grades_of(self, case: str) -> Sequence[GradedReading]:
        """List the newest value of every definition, image and observer."""
        query = (
            select(GradeRow.__table__)
            .where(_GRADE.case_id == self.case(case).id)
            .order_by(_GRADE.saved_at, _GRADE.id)
        )
        newest: dict[tuple[str, str | None, str], GradedReading] = {}
        with self.transactions.reading("cannot read the grades") as connection:
            for row in connection.execute(query).mappings():
                newest[(row["definition"], row["image_id"], row["observer"])] = _grade(row)
        return list(newest.values())

    def history_of(self, thing: str) -> Sequence[Change]:
        """List every change of a person, case or image, first to last."""
        with self.transactions.reading("cannot read the history") as connection:
            return history(connection, known_id(thing, of="entry"))

    def _readings(self, query: Select[Any]) -> list[Reading]:
        with self.transactions.reading("cannot read the readings") as connection:
            return [_reading(row) for row in connection.execute(query).mappings()]


def _same(image_id: str, observer: str, number: int) -> tuple[ColumnElement[bool], ...]:
    return (
        _READING.image_id == image_id,
        _READING.observer == observer,
        _READING.number == number,
    )


def _refuse_strangers(writer: Writer, case: Case, image_id: str, *, of: str) -> None:
    """Stop before an image that is absent or of another person than the case."""
    owner = select(ImageRow.person_id).where(ImageRow.id == image_id)
    person = writer.connection.execute(owner).scalar_one_or_none()
    if person is None:
        raise not_found("image", image_id, field="image")
    if case.person != person:
        raise KeepingError(
            f"cannot save the {of}",
            found="an image of another person than the case",
            needed="case and image of one person",
            next_step="Check which case is open.",
            field="image",
        )


def _version_row(reading_id: str, reading: Reading) -> dict[str, Any]:
    return {
        "id": reading.id,
        "reading_id": reading_id,
        "version": reading.version,
        "case_id": reading.case,
        "landmarks": to_json(reading.landmarks),
        "recorded_at": reading.saved_at,
    }


def _reading(row: RowMapping) -> Reading:
    return Reading(
        id=row["id"],
        case=row["case_id"],
        landmarks=from_json(
            row["landmarks"],
            image=row["image_id"],
            observer=row["observer"],
            reading=row["number"],
        ),
        version=row["version"],
        saved_at=row["recorded_at"],
    )


def _grade(row: RowMapping) -> GradedReading:
    return GradedReading(
        id=row["id"],
        case=row["case_id"],
        image=row["image_id"],
        definition=row["definition"],
        value=row["value"],
        details=row["details"],
        observer=row["observer"],
        saved_at=row["saved_at"],
    )
