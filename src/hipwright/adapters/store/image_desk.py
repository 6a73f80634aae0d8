"""Studies, images and their files."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, func, select

from hipwright.adapters.store.desk import (
    checked_id,
    hold,
    known_id,
    not_found,
    one_row,
    refuse_fixed,
    refuse_stale,
    refuse_taken,
)
from hipwright.adapters.store.image_rows import (
    FIXED_FIELDS,
    VERSION_FIELDS,
    file_rows,
    image_from,
    image_row,
    image_version,
    study_from,
)
from hipwright.adapters.store.models import (
    ImageFileRow,
    ImageRow,
    ImageVersionRow,
    PersonRow,
    StudyRow,
)
from hipwright.adapters.store.people_desk import PeopleDesk
from hipwright.adapters.store.versions import newest
from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping import Image, Study

_IMAGE = newest(ImageRow, ImageVersionRow, "image_id", VERSION_FIELDS)


class ImageDesk(PeopleDesk):
    """Keeps studies, images and files."""

    def add_study(self, study: Study) -> None:
        """Keep a new study."""
        row = {
            "id": checked_id(study.id, of="study"),
            "person_id": known_id(study.person, of="person"),
            "acquired_on": study.acquired_on,
            "label": study.label,
            "source_uid": study.source_uid or None,
        }
        with self.transactions.writing("cannot keep the study") as writer:
            refuse_taken(writer.connection, StudyRow, row["id"], of="study")
            if one_row(writer.connection, PersonRow, {"id": row["person_id"]}) is None:
                raise not_found("person", study.person, field="person")
            if study.source_uid and self.study_from(study.source_uid) is not None:
                raise KeepingError(
                    "cannot keep the study",
                    found="the same study of the sender, imported before",
                    needed="one study a UID",
                    next_step="Add the images to the study that study_from() finds.",
                    field="source_uid",
                )
            self.insert(writer, StudyRow, [row])

    def study(self, study: str) -> Study:
        """Find a study by id."""
        found = self._studies(StudyRow.id == known_id(study, of="study"))
        if not found:
            raise not_found("study", study)
        return found[0]

    def studies_of(self, person: str) -> Sequence[Study]:
        """List a person's studies, oldest first, those without a date last."""
        return self._studies(StudyRow.person_id == known_id(person, of="person"))

    def study_from(self, source_uid: str) -> Study | None:
        """Find the study that came under this remapped UID."""
        return next(iter(self._studies(StudyRow.source_uid == source_uid)), None)

    def add_image(self, image: Image) -> None:
        """Keep a new image, whose files are kept already."""
        image = replace(image, version=1)
        row = {"id": checked_id(image.id, of="image"), **image_row(image)}
        with self.transactions.writing("cannot keep the image") as writer:
            refuse_taken(writer.connection, ImageRow, row["id"], of="image")
            if self.study(image.study).person != known_id(image.person, of="person"):
                raise KeepingError(
                    "cannot keep the image",
                    found="a study of another person",
                    needed="image and study of one person",
                    next_step="Import the two people one after the other.",
                    field="person",
                )
            self.insert(writer, ImageRow, [row])
            self.insert(writer, ImageVersionRow, [image_version(image)])
            self.insert(writer, ImageFileRow, file_rows(image))
            # After the insert: from here on no collection of orphans runs until we are done.
            self._refuse_absent_files(image)

    def image(self, image: str) -> Image:
        """Find an image by id."""
        found = self._images(ImageRow.id == known_id(image, of="image"))
        if not found:
            raise not_found("image", image)
        return found[0]

    def images_of(self, person: str) -> Sequence[Image]:
        """List a person's images in the order in which they came."""
        return self._images(ImageRow.person_id == known_id(person, of="person"))

    def images_from(self, source_uid: str) -> Sequence[Image]:
        """List the images that hold this instance."""
        holding = select(ImageFileRow.image_id).where(ImageFileRow.source_uid == source_uid)
        return self._images(ImageRow.id.in_(holding))

    def images_with_file(self, sha256: str) -> Sequence[Image]:
        """List the images that hold this file."""
        holding = select(ImageFileRow.image_id).where(ImageFileRow.sha256 == sha256)
        return self._images(ImageRow.id.in_(holding))

    def change_image(self, image: Image, *, expected_version: int) -> Image:
        """Add a version of an image."""
        with self.transactions.writing("cannot save the image") as writer:
            hold(writer, ImageRow, known_id(image.id, of="image"))
            kept = self.image(image.id)
            if replace(image, version=kept.version) == kept:
                return kept
            refuse_stale(
                of="image",
                kept=kept,
                version=kept.version,
                expected=expected_version,
                offered=image,
            )
            refuse_fixed(kept, image, FIXED_FIELDS, of="image")
            new = replace(image, version=kept.version + 1)
            self.insert(writer, ImageVersionRow, [image_version(new)])
            if (new.files, new.source_uids) != (kept.files, kept.source_uids):
                self.insert(writer, ImageFileRow, file_rows(new))
                self._refuse_absent_files(new)
            return new

    def put_file(self, content: bytes) -> str:
        """Keep a file; it is on the disk when this returns."""
        return self.files.put(content)

    def get_file(self, sha256: str) -> bytes:
        """Read a file, checked against its digest."""
        return self.files.get(sha256)

    def has_file(self, sha256: str) -> bool:
        """Tell whether a file is there."""
        return self.files.has(sha256)

    def _refuse_absent_files(self, image: Image) -> None:
        absent = sum(not self.files.has(digest) for digest in image.files)
        if absent:
            raise KeepingError(
                "cannot keep the image",
                found=f"{absent} of its {len(image.files)} files not in the workspace",
                needed="every file kept first, with put_file()",
                next_step="Import the image again.",
                field="files",
            )

    def _studies(self, condition: ColumnElement[bool]) -> list[Study]:
        undated_last = StudyRow.acquired_on.is_(None)
        query = (
            select(StudyRow.__table__)
            .where(condition)
            .order_by(undated_last, StudyRow.acquired_on, StudyRow.id)
        )
        with self.transactions.reading("cannot read the studies") as connection:
            return [study_from(row) for row in connection.execute(query).mappings()]

    def _images(self, condition: ColumnElement[bool]) -> list[Image]:
        with self.transactions.reading("cannot read the images") as connection:
            query = _IMAGE.where(condition).order_by(ImageRow.id)
            rows = connection.execute(query).mappings().all()
            files = _files(connection, select(ImageRow.id).where(condition))
            return [image_from(row, files[row["id"]]) for row in rows]


def _files(connection: Connection, images: Any) -> dict[str, list[RowMapping]]:
    table, other = ImageFileRow.__table__.c, ImageFileRow.__table__.alias("other").c
    newest = (
        select(func.max(other.version)).where(other.image_id == table.image_id).scalar_subquery()
    )
    query = (
        select(table.image_id, table.sha256, table.source_uid)
        .where(table.image_id.in_(images), table.version == newest)
        .order_by(table.image_id, table.position)
    )
    files: dict[str, list[RowMapping]] = defaultdict(list)
    for row in connection.execute(query).mappings():
        files[row["image_id"]].append(row)
    return files
