"""Bone builds, readers' landmarks on bones, and hand edits of labels."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, func, select

from hipwright.adapters.store.bone_rows import (
    bone_reading_from,
    bone_row,
    build_from,
    build_row,
    edits_from,
    points_to_json,
)
from hipwright.adapters.store.case_list import CaseList
from hipwright.adapters.store.desk import (
    checked_id,
    hold,
    known_id,
    not_found,
    refuse_stale,
    refuse_taken,
)
from hipwright.adapters.store.file_references import refuse_absent
from hipwright.adapters.store.models import (
    Base,
    BoneBuildImageRow,
    BoneBuildRow,
    BoneReadingRow,
    BoneReadingVersionRow,
    ImageRow,
    KeptBoneRow,
    LabelEditsRow,
    PersonRow,
)
from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping_bones import BoneBuild, BoneReading, KeptEdits

_READING = BoneReadingRow.__table__.c
_VERSION = BoneReadingVersionRow.__table__.c
_EDITS = LabelEditsRow.__table__.c

_OTHER = BoneReadingVersionRow.__table__.alias("other")
_LAST = select(func.max(_OTHER.c.version)).where(_OTHER.c.reading_id == _READING.id)
_NEWEST = (
    select(_READING.build_id, _READING.observer, BoneReadingVersionRow.__table__)
    .join(BoneReadingVersionRow.__table__, _VERSION.reading_id == _READING.id)
    .where(_VERSION.version == _LAST.scalar_subquery())
)


class BoneDesk(CaseList):
    """Keeps bone models and what readers say about them."""

    def add_bone_build(self, build: BoneBuild) -> BoneBuild:
        """Keep a build, whose files are kept already; its number is given here."""
        person = known_id(build.person, of="person")
        build = replace(build, id=checked_id(build.id, of="bone build"), person=person)
        with self.transactions.writing("cannot keep the bone models") as writer:
            hold(writer, PersonRow, person)
            refuse_taken(writer.connection, BoneBuildRow, build.id, of="bone build")
            self._refuse_strange_images(build)
            if not build.bones:
                raise KeepingError(
                    "cannot keep the bone models",
                    found="no bone",
                    needed="at least one",
                    next_step="Make the models again.",
                    field="bones",
                )
            table = BoneBuildRow.__table__.c
            count = select(func.count()).where(table.person_id == person)
            number = writer.connection.execute(count).scalar_one() + 1
            build = replace(build, number=number)
            self.insert(writer, BoneBuildRow, [build_row(build)])
            images = [
                {"build_id": build.id, "position": position, "image_id": image}
                for position, image in enumerate(build.images)
            ]
            self.insert(writer, BoneBuildImageRow, images)
            self.insert(writer, KeptBoneRow, [bone_row(build.id, b) for b in build.bones])
            surfaces = [bone.surface_file for bone in build.bones]
            files = (*surfaces, build.labels_file, build.edits_file)
            refuse_absent(self.files, files, of="bone models")
            return build

    def bone_build(self, build: str) -> BoneBuild:
        """Find a build by id."""
        found = self._builds(BoneBuildRow.id == known_id(build, of="bone build"))
        if not found:
            raise not_found("bone build", build)
        return found[0]

    def bone_builds_of(self, person: str) -> Sequence[BoneBuild]:
        """List every build of a person, newest first."""
        return self._builds(BoneBuildRow.person_id == known_id(person, of="person"))

    def save_bone_reading(self, reading: BoneReading, *, expected_version: int) -> BoneReading:
        """Add a version of what an observer says about a build; the first is version 1."""
        build_id = known_id(reading.build, of="bone build")
        with self.transactions.writing("cannot save the landmarks") as writer:
            hold(writer, BoneBuildRow, build_id)
            self.bone_build(build_id)
            same = (_READING.build_id == build_id, _READING.observer == reading.observer)
            row = writer.connection.execute(_NEWEST.where(*same)).mappings().one_or_none()
            kept = bone_reading_from(row) if row is not None else None
            if kept is not None and _said(kept) == _said(reading):
                return kept
            refuse_stale(
                of="landmarks",
                kept=kept,
                version=kept.version if kept else 0,
                expected=expected_version,
                offered=reading,
            )
            reading_id = kept.id if kept else checked_id(reading.id, of="reading")
            if kept is None:
                refuse_taken(writer.connection, BoneReadingRow, reading_id, of="reading")
                facts = {"id": reading_id, "build_id": build_id, "observer": reading.observer}
                self.insert(writer, BoneReadingRow, [facts])
            new = replace(
                reading,
                id=reading_id,
                build=build_id,
                version=expected_version + 1,
                saved_at=self.now(),
            )
            self.insert(writer, BoneReadingVersionRow, [_version_row(new)])
            return new

    def bone_readings_of(self, build: str) -> Sequence[BoneReading]:
        """List the newest version of every observer's reading of a build, newest first."""
        wanted = _READING.build_id == known_id(build, of="bone build")
        newest_first = _NEWEST.where(wanted).order_by(
            _VERSION.recorded_at.desc(), _VERSION.id.desc()
        )
        with self.transactions.reading("cannot read the landmarks") as connection:
            return [bone_reading_from(row) for row in connection.execute(newest_first).mappings()]

    def save_label_edits(self, edits: KeptEdits, *, expected_version: int) -> KeptEdits:
        """Add a version of the hand edits of a series' labels."""
        image = self.image(edits.image).id
        with self.transactions.writing("cannot save the edits") as writer:
            hold(writer, ImageRow, image)
            kept = self.label_edits_of(image)
            if kept is not None and kept.edits_file == edits.edits_file:
                return kept
            refuse_stale(
                of="edits",
                kept=kept,
                version=kept.version if kept else 0,
                expected=expected_version,
                offered=edits,
            )
            new = replace(edits, image=image, version=expected_version + 1, saved_at=self.now())
            row = {
                "image_id": image,
                "version": new.version,
                "edits_file": new.edits_file,
                "saved_by": new.by,
                "recorded_at": new.saved_at,
            }
            self.insert(writer, LabelEditsRow, [row])
            refuse_absent(self.files, [new.edits_file], of="edits")
            return new

    def label_edits_of(self, image: str) -> KeptEdits | None:
        """Find the newest edits of a series' labels."""
        query = (
            select(LabelEditsRow.__table__)
            .where(_EDITS.image_id == known_id(image, of="image"))
            .order_by(_EDITS.version.desc())
            .limit(1)
        )
        with self.transactions.reading("cannot read the edits") as connection:
            row = connection.execute(query).mappings().one_or_none()
        return edits_from(row) if row is not None else None

    def _refuse_strange_images(self, build: BoneBuild) -> None:
        owner = self.person(build.person).id
        if any(self.image(image).person != owner for image in build.images):
            raise KeepingError(
                "cannot keep the bone models",
                found="an image of another person",
                needed="person and images that belong together",
                next_step="Check which case is open.",
                field="images",
            )

    def _builds(self, condition: ColumnElement[bool]) -> list[BoneBuild]:
        wanted = select(BoneBuildRow.id).where(condition)
        query = select(BoneBuildRow.__table__).where(condition)
        with self.transactions.reading("cannot read the bone models") as connection:
            rows = connection.execute(query.order_by(BoneBuildRow.number.desc())).mappings().all()
            bones = _parts(connection, KeptBoneRow, wanted, "id")
            images = _parts(connection, BoneBuildImageRow, wanted, "position")
        return [build_from(row, bones[row["id"]], images[row["id"]]) for row in rows]


def _parts(
    connection: Connection, table: type[Base], builds: Any, order: str
) -> dict[str, list[RowMapping]]:
    columns = table.__table__.c
    query = select(table.__table__).where(columns["build_id"].in_(builds)).order_by(columns[order])
    parts: dict[str, list[RowMapping]] = defaultdict(list)
    for row in connection.execute(query).mappings():
        parts[row["build_id"]].append(row)
    return parts


def _said(reading: BoneReading) -> tuple[object, ...]:
    tilts = (reading.standing_tilt_deg, reading.supine_tilt_deg, reading.tilt_source)
    return (reading.moved, *tilts)


def _version_row(reading: BoneReading) -> dict[str, Any]:
    return {
        "reading_id": reading.id,
        "version": reading.version,
        "moved": points_to_json(reading.moved),
        "standing_tilt_deg": reading.standing_tilt_deg,
        "supine_tilt_deg": reading.supine_tilt_deg,
        "tilt_source": reading.tilt_source,
        "recorded_at": reading.saved_at,
    }
