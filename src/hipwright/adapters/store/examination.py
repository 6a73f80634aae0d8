"""Looking a workspace over: schema, rows, files, permissions. Nothing here changes it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import Connection, Engine, Select, func, inspect, select, text

from hipwright.adapters.store import schema
from hipwright.adapters.store.faults import told_plainly
from hipwright.adapters.store.file_references import referred_digests
from hipwright.adapters.store.image_files import ImageFiles
from hipwright.adapters.store.models import (
    Base,
    BoneBuildRow,
    BoneReadingRow,
    BoneReadingVersionRow,
    CaseRow,
    CaseVersionRow,
    ImageFileRow,
    ImageRow,
    ImageVersionRow,
    JobEventRow,
    JobRow,
    KeptBoneRow,
    PersonRow,
    PersonVersionRow,
    ReadingRow,
    ReadingVersionRow,
)
from hipwright.adapters.store.orphans import GRACE_S, orphans
from hipwright.adapters.store.workspace_folder import DATABASE, FILES, read_mark
from hipwright.domain.errors import KeepingError
from hipwright.workflows.keep_workspace import Check, note, ok, problem
from hipwright.workflows.ports import Progress

RESTORE = "Restore the newest backup into a new folder; keep this one for a closer look."


def folder_checks(folder: Path) -> Iterator[Check]:
    """The folder, its mark and who may read it."""
    mark = read_mark(folder)
    if mark is None:
        yield problem(
            "workspace",
            f"no workspace in {folder}",
            "Make one by `hipwright add` or `hipwright demo`, or name yours with --workspace.",
        )
        return
    yield ok("workspace", f"{folder}, id {mark.workspace}, rows in {mark.database}")
    if os.name == "nt":
        return
    mode = folder.stat().st_mode
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        yield problem(
            "permissions",
            f"other users of this machine may enter the folder ({stat.filemode(mode)})",
            f"Close it: chmod 700 {folder}",
        )
    else:
        yield ok("permissions", "only its owner may enter the folder")


def schema_checks(engine: Engine) -> Iterator[Check]:
    """Version of the tables, and whether they are what the models say."""
    with told_plainly("cannot look at the tables"), engine.connect() as connection:
        found = schema.revision(connection)
        schema.refuse_newer(found)
        if found != schema.HEAD:
            yield problem(
                "schema",
                f"tables of version {found or 'none'}, current is {schema.HEAD}",
                "Open the workspace once (`hipwright cases`): it is brought up to date, "
                "after a copy has been made.",
            )
            return
        differences = schema.differences(connection)
    if differences:
        yield problem("schema", "; ".join(differences[:5]), RESTORE)
    else:
        yield ok("schema", f"version {found}, as the models say, history protected")


def row_checks(engine: Engine) -> Iterator[Check]:
    """The database's own consistency, and that nothing is half there."""
    with told_plainly("cannot check the database"), engine.connect() as connection:
        if connection.dialect.name == "sqlite":
            said = connection.execute(text("PRAGMA integrity_check(5)")).scalars().all()
            dangling = connection.execute(text("PRAGMA foreign_key_check")).all()
            if list(said) != ["ok"] or dangling:
                yield problem("database", "the database is damaged", RESTORE)
                return
        there = set(inspect(connection).get_table_names())
        halves = sum(_count(connection, query) for query in _half_things(there))
        if halves:
            yield problem("rows", f"{halves} entries without their versions or files", RESTORE)
            return
        people, cases, images = (
            _count(connection, select(func.count()).select_from(table))
            for table in (PersonRow, CaseRow, ImageRow)
        )
    yield ok("database", f"sound: {people} people, {cases} cases, {images} images")


def file_checks(
    engine: Engine, folder: Path, *, now: float, quick: bool, progress: Progress
) -> Iterator[Check]:
    """Every stored file against its digest, and both ways between rows and files."""
    files = ImageFiles(folder / FILES)
    with told_plainly("cannot check the stored files"):
        with engine.connect() as connection:
            wanted = referred_digests(connection)
        missing = damaged = 0
        for done, digest in enumerate(sorted(wanted)):
            progress("checking files", done, len(wanted))
            if not files.has(digest):
                missing += 1
            elif not quick and not _is_sound(files, digest):
                damaged += 1
        stray = orphans(files, wanted)
        young = sum(files.age_s(path, now) < GRACE_S for path in stray)
    if missing or damaged:
        yield problem(
            "files",
            f"{missing} missing and {damaged} damaged of {len(wanted)}",
            "Restore a backup, or import the images again: sound files are kept once.",
        )
    else:
        how = "present (not read: --quick)" if quick else "present and unchanged"
        yield ok("files", f"{len(wanted)} {how}")
    if young:
        yield note(
            "unfinished imports",
            f"{young} files of an import that is running or was cut off today",
            "Import again if it was cut off: nothing is taken in twice.",
        )
    if len(stray) > young:
        yield note(
            "orphans",
            f"{len(stray) - young} files that nothing refers to",
            "Collect them: hipwright doctor --repair",
        )


def has_database(folder: Path) -> bool:
    """Whether the SQLite database is there; opening would make an empty one."""
    return (folder / DATABASE).is_file()


def absent_database_checks() -> Iterator[Check]:
    """Tell that the database is gone."""
    yield problem("database", f"{DATABASE} is not in the folder", RESTORE)


def _is_sound(files: ImageFiles, digest: str) -> bool:
    try:
        files.get(digest)
    except KeepingError:
        return False
    return True


def _half_things(there: set[str]) -> Iterator[Select[int]]:
    """Queries that count what is not whole, among the tables that are there."""
    parts = [
        (whole, part, to_whole)
        for whole, part, to_whole in _PARTS
        if {whole.__tablename__, part.__tablename__} <= there
    ]
    for whole, part, to_whole in parts:
        whole_parts = select(part.__table__.c[to_whole])
        identity = whole.__table__.c["id"]
        yield select(func.count()).select_from(whole).where(identity.not_in(whole_parts))
    for _, part, to_whole in parts:
        columns = part.__table__.c
        if "version" in columns and part is not ImageFileRow:
            gaps = (
                select(columns[to_whole])
                .group_by(columns[to_whole])
                .having(func.max(columns["version"]) != func.count())
            )
            yield select(func.count()).select_from(gaps.subquery())


_PARTS: tuple[tuple[type[Base], type[Base], str], ...] = (
    (PersonRow, PersonVersionRow, "person_id"),
    (CaseRow, CaseVersionRow, "case_id"),
    (ImageRow, ImageVersionRow, "image_id"),
    (ImageRow, ImageFileRow, "image_id"),
    (ReadingRow, ReadingVersionRow, "reading_id"),
    (BoneBuildRow, KeptBoneRow, "build_id"),
    (BoneReadingRow, BoneReadingVersionRow, "reading_id"),
    (JobRow, JobEventRow, "job_id"),
)


def _count(connection: Connection, query: Select[int]) -> int:
    return connection.execute(query).scalar_one()
