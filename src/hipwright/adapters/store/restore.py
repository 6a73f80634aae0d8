"""Bringing a backup back: everything checked first, into a new folder, all or nothing."""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
import sqlite3
import zipfile
import zlib
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, select

from hipwright.adapters.store import schema
from hipwright.adapters.store.backup import FORMAT, KEY, MANIFEST
from hipwright.adapters.store.connections import WRITES, open_sqlite
from hipwright.adapters.store.faults import FULL_NEXT, told_plainly
from hipwright.adapters.store.image_files import sync_folder
from hipwright.adapters.store.models import Base, WorkspaceRow
from hipwright.adapters.store.snapshots import copy_rows
from hipwright.adapters.store.workspace_folder import (
    DATABASE,
    FILES,
    IDENTITY,
    Mark,
    write_mark,
)
from hipwright.domain.errors import KeepingError, WorkspaceVersionError
from hipwright.workflows.ports import Progress

_NAME = re.compile(rf"{DATABASE}|{IDENTITY}|{KEY}|{FILES}/([0-9a-f]{{2}})/(\1[0-9a-f]{{62}})")
_CHUNK = 1 << 20
_LARGEST_MANIFEST = 256 << 20
_LARGEST_KEY = 1 << 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One file of a backup, as its manifest promises it."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """A backup whose manifest has been read and agrees with its list of files."""

    path: Path
    workspace: str
    made_at: str
    software: str
    key_id: str | None
    key: dict[str, Any] | None
    damaged: int
    entries: tuple[Entry, ...]

    @property
    def files(self) -> int:
        """How many image files it holds."""
        return sum(entry.name.startswith(FILES) for entry in self.entries)

    @property
    def with_identity(self) -> bool:
        """Whether it holds the identity store."""
        return any(entry.name == IDENTITY for entry in self.entries)


def read_backup(path: Path) -> Backup:
    """Read a backup's manifest.

    Raises
    ------
    KeepingError
        The file is no backup, or holds other things than its manifest promises.
    WorkspaceVersionError
        A newer hipwright made it.
    """
    with told_plainly("cannot read the backup"):
        try:
            with zipfile.ZipFile(path) as archive:
                manifest = json.loads(_capped(archive, MANIFEST, _LARGEST_MANIFEST))
                if manifest["format"] != FORMAT:
                    raise _no_backup()
                if manifest["version"] != 1:
                    raise _newer()
                schema.refuse_newer(manifest["schema"])
                entries = tuple(Entry(**entry) for entry in manifest["entries"])
                _refuse_other_names(archive.namelist(), [entry.name for entry in entries])
                has_key = any(entry.name == KEY for entry in entries)
                key = json.loads(_capped(archive, KEY, _LARGEST_KEY)) if has_key else None
                return Backup(
                    path=path,
                    workspace=str(manifest["workspace"]),
                    made_at=str(manifest["made_at"]),
                    software=str(manifest["software"]),
                    key_id=manifest["key_id"],
                    key=key,
                    damaged=len(manifest["damaged"]),
                    entries=entries,
                )
        except (
            zipfile.BadZipFile,
            zlib.error,
            EOFError,
            ValueError,
            KeyError,
            TypeError,
        ) as error:
            raise _no_backup() from error


def restore_into(
    folder: Path, backup: Backup, *, engine: Engine | None, progress: Progress
) -> None:
    """Restore a backup into a new folder, and into an empty PostgreSQL database if one is given.

    Everything is unpacked beside the folder and checked against the manifest; only then it
    gets the folder's name.

    Raises
    ------
    KeepingError
        The folder is not empty, the backup is damaged, or the disk is full.
    """
    _refuse_target(folder)
    with told_plainly("cannot restore the backup"):
        folder.parent.mkdir(parents=True, exist_ok=True)
        _refuse_small_disk(folder.parent, sum(entry.size for entry in backup.entries))
        scratch = folder.with_name(f".{folder.name}.restoring-{secrets.token_hex(4)}")
        scratch.mkdir(mode=0o700)
        try:
            _unpack(backup, scratch, progress)
            _check_database(scratch / DATABASE, backup)
            kind = "sqlite" if engine is None else engine.dialect.name
            write_mark(scratch, Mark(workspace=backup.workspace, database=kind))
            if engine is not None:
                _fill_database(engine, scratch / DATABASE)
                (scratch / DATABASE).unlink()
            with suppress(FileNotFoundError):
                folder.rmdir()
            scratch.rename(folder)
            sync_folder(folder.parent)
        finally:
            shutil.rmtree(scratch, ignore_errors=True)


def _unpack(backup: Backup, scratch: Path, progress: Progress) -> None:
    (scratch / FILES).mkdir(mode=0o700)
    folders = {scratch, scratch / FILES}
    with zipfile.ZipFile(backup.path) as archive:
        for done, entry in enumerate(backup.entries):
            progress("checking and restoring", done, len(backup.entries))
            if entry.name == KEY:
                continue
            target = scratch / entry.name
            target.parent.mkdir(mode=0o700, exist_ok=True)
            folders.add(target.parent)
            try:
                with archive.open(entry.name) as source:
                    _unpack_one(source, target, entry)
            except (zipfile.BadZipFile, zlib.error, EOFError) as error:
                raise _damaged() from error
    for made in sorted(folders, reverse=True):
        sync_folder(made)


def _unpack_one(source: Any, target: Path, entry: Entry) -> None:
    digest, size = hashlib.sha256(), 0
    mode = 0o400 if entry.name.startswith(FILES) else 0o600
    handle = os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    with os.fdopen(handle, "wb") as file:
        while chunk := source.read(_CHUNK):
            size += len(chunk)
            if size > entry.size:
                raise _damaged()
            digest.update(chunk)
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    target.chmod(mode)
    named = target.name if entry.name.startswith(FILES) else entry.sha256
    if size != entry.size or digest.hexdigest() != entry.sha256 or named != entry.sha256:
        raise _damaged()


def _check_database(database: Path, backup: Backup) -> None:
    with closing(sqlite3.connect(database)) as connection:
        try:
            said = connection.execute("PRAGMA integrity_check(1)").fetchone()
        except sqlite3.DatabaseError as error:
            raise _damaged() from error
    if said != ("ok",):
        raise _damaged()
    engine = open_sqlite(database)
    try:
        with engine.connect() as connection:
            schema.refuse_newer(schema.revision(connection))
            workspaces = set(connection.execute(select(WorkspaceRow.workspace)).scalars())
    finally:
        engine.dispose()
    if backup.workspace not in workspaces:
        raise _damaged()


def _fill_database(engine: Engine, database: Path) -> None:
    source = open_sqlite(database)
    try:
        with source.connect() as there, engine.connect() as here:
            here.execution_options(**{WRITES: True})
            with here.begin():
                if schema.has_tables(here):
                    raise KeepingError(
                        "cannot restore the backup",
                        found="a database with tables in it",
                        needed="an empty database",
                        next_step="Make a new database and name it in HIPWRIGHT_DATABASE_URL.",
                        field="database_url",
                    )
                schema.migrate(here)
                copy_rows(there, here, Base.metadata)
    finally:
        source.dispose()


def _capped(archive: zipfile.ZipFile, name: str, largest: int) -> bytes:
    with archive.open(name) as entry:
        content = entry.read(largest + 1)
    if len(content) > largest:
        raise _no_backup()
    return content


def _refuse_other_names(there: list[str], promised: list[str]) -> None:
    """Stop before an archive that holds anything else: no path can lead out of the folder."""
    fits = all(_NAME.fullmatch(name) for name in promised)
    if not fits or sorted(there) != sorted([*promised, MANIFEST]) or DATABASE not in promised:
        raise _damaged()


def _refuse_target(folder: Path) -> None:
    if folder.is_symlink() or folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        raise KeepingError(
            "cannot restore the backup",
            found=f"something in {folder} already",
            needed="a new or empty folder",
            next_step="Name a new folder with --workspace; nothing was changed.",
            field="workspace",
        )


def _refuse_small_disk(folder: Path, needed: int) -> None:
    free = shutil.disk_usage(folder).free
    if free < needed:
        raise KeepingError(
            "cannot restore the backup",
            found=f"{free / 1e6:.0f} MB of free space",
            needed=f"{needed / 1e6:.0f} MB",
            next_step=FULL_NEXT,
        )


def _no_backup() -> KeepingError:
    return KeepingError(
        "cannot read the backup",
        found="a file that is no backup, or only a part of one",
        needed="a file that `hipwright backup` wrote",
        next_step="Check the file's name, copy it again, or take an older backup.",
        field="file",
    )


def _damaged() -> KeepingError:
    return KeepingError(
        "cannot restore the backup",
        found="contents that differ from its own manifest",
        needed="a backup as it was written",
        next_step="Copy the file again or take an older backup; nothing was restored.",
        field="file",
    )


def _newer() -> WorkspaceVersionError:
    return WorkspaceVersionError(
        "cannot read the backup",
        found="one that a newer hipwright made",
        needed="backup version 1",
        next_step="Update hipwright on this machine; nothing was restored.",
    )
