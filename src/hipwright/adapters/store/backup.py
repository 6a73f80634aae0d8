"""The whole workspace in one file: a zip archive with a manifest of checksums.

Databases are copied as of one moment, also while the workspace is served. Files are
copied afterward: they never change, and what a row refers to is there.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import zipfile
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from hipwright.adapters.store import schema
from hipwright.adapters.store.connections import WRITES, make_private_file, open_sqlite
from hipwright.adapters.store.faults import told_plainly
from hipwright.adapters.store.file_references import referred_digests
from hipwright.adapters.store.image_files import ImageFiles, sync_folder
from hipwright.adapters.store.models import Base
from hipwright.adapters.store.snapshots import copy_rows, copy_sqlite, make_single, sync_file
from hipwright.adapters.store.workspace_folder import DATABASE, FILES, IDENTITY
from hipwright.domain.errors import KeepingError
from hipwright.workflows.keep_workspace import BackupReport
from hipwright.workflows.ports import Progress

FORMAT = "hipwright.backup"
MANIFEST = "manifest.json"
KEY = "key.json"
_CHUNK = 1 << 20
_LEVEL = 1  # half of what level 9 saves on films, in a tenth of its time


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupOrder:
    """What to back up: an open database, its folder, and a wrapped key if there is one."""

    engine: Engine
    folder: Path
    workspace: str
    key: dict[str, Any] | None
    key_id: str | None
    made_at: datetime
    software: str


def write_backup(target: Path, order: BackupOrder, *, progress: Progress) -> BackupReport:
    """Write a backup: complete under its name, or not at all.

    Raises
    ------
    KeepingError
        The target exists, lies inside the workspace, or cannot be written.
    """
    _refuse_target(target, order.folder)
    part = target.with_name(f"{target.name}.part")
    with told_plainly("cannot write the backup"):
        try:
            with tempfile.TemporaryDirectory(prefix=".hipwright-", dir=target.parent) as scratch:
                report = _fill(part, Path(scratch), order, progress)
            sync_file(part)
            part.replace(target)
            sync_folder(target.parent)
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
    return report


def _fill(part: Path, scratch: Path, order: BackupOrder, progress: Progress) -> BackupReport:
    progress("copying the database", 0, 0)
    database = scratch / DATABASE
    _copy_database(order.engine, database)
    identity = order.folder / IDENTITY
    make_private_file(part)
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED, compresslevel=_LEVEL) as archive:
        entries = [_add_file(archive, DATABASE, database)]
        if identity.is_file():
            copy_sqlite(identity, scratch / IDENTITY)
            entries.append(_add_file(archive, IDENTITY, scratch / IDENTITY))
        if order.key is not None:
            entries.append(_add(archive, KEY, json.dumps(order.key).encode()))
        kept, damaged = _add_images(archive, database, order.folder, progress)
        manifest = {
            "format": FORMAT,
            "version": 1,
            "software": order.software,
            "workspace": order.workspace,
            "made_at": order.made_at.isoformat(),
            "schema": schema.HEAD,
            "key_id": order.key_id,
            "damaged": damaged,
            "entries": [*entries, *kept],
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1))
    return BackupReport(
        files=len(kept),
        size_bytes=part.stat().st_size,
        damaged=len(damaged),
        with_identity=identity.is_file(),
        with_key=order.key is not None,
    )


def _copy_database(engine: Engine, target: Path) -> None:
    if engine.dialect.name == "sqlite":
        copy_sqlite(Path(engine.url.database or ""), target)
        return
    make_private_file(target)
    copy = open_sqlite(target)
    try:
        with engine.connect() as there, copy.connect() as here:
            there.execution_options(isolation_level="REPEATABLE READ")
            here.execution_options(**{WRITES: True})
            with there.begin(), here.begin():
                schema.migrate(here)
                copy_rows(there, here, Base.metadata)
    finally:
        copy.dispose()
    make_single(target)


def _add_images(
    archive: zipfile.ZipFile, database: Path, folder: Path, progress: Progress
) -> tuple[list[dict[str, Any]], list[str]]:
    files = ImageFiles(folder / FILES)
    kept: list[dict[str, Any]] = []
    damaged: list[str] = []
    digests = referred_files(database)
    for done, digest in enumerate(digests):
        progress("copying files", done, len(digests))
        try:
            content = files.get(digest)
        except KeepingError:
            damaged.append(digest)
            continue
        kept.append(_add(archive, f"{FILES}/{digest[:2]}/{digest}", content))
    return kept, damaged


def referred_files(database: Path) -> list[str]:
    """The digests that a copied database refers to."""
    engine = open_sqlite(database)
    try:
        with engine.connect() as connection:
            return sorted(referred_digests(connection))
    finally:
        engine.dispose()


def _add_file(archive: zipfile.ZipFile, name: str, path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        return _add_chunks(archive, name, iter(lambda: file.read(_CHUNK), b""))


def _add(archive: zipfile.ZipFile, name: str, content: bytes) -> dict[str, Any]:
    return _add_chunks(archive, name, [content])


def _add_chunks(archive: zipfile.ZipFile, name: str, chunks: Iterable[bytes]) -> dict[str, Any]:
    digest, size = hashlib.sha256(), 0
    with archive.open(name, "w", force_zip64=True) as entry:
        for chunk in chunks:
            entry.write(chunk)
            digest.update(chunk)
            size += len(chunk)
    return {"name": name, "size": size, "sha256": digest.hexdigest()}


def _refuse_target(target: Path, folder: Path) -> None:
    if target.exists():
        raise KeepingError(
            "cannot write the backup",
            found="a file of that name already",
            needed="a new name",
            next_step="Name another file: backups do not replace each other.",
            field="file",
        )
    if not target.parent.is_dir() or not os.access(target.parent, os.W_OK):
        raise KeepingError(
            "cannot write the backup",
            found="no folder there that can be written",
            needed="an existing folder",
            next_step="Make the folder, or name another file.",
            field="file",
        )
    if target.resolve().is_relative_to(folder.resolve()):
        raise KeepingError(
            "cannot write the backup",
            found="a place inside the workspace",
            needed="a place that is not lost together with it",
            next_step="Name a file on another disk.",
            field="file",
        )
