"""A workspace on the disk: a folder with a mark, a database and files.

The mark is written last. A folder in which it is missing, but everything else is ours, is
one whose making was cut off: making it again completes it.
"""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, insert, select, text

from hipwright.adapters.store import schema
from hipwright.adapters.store.connections import (
    BUSY_TIMEOUT_S,
    WRITES,
    make_private_file,
    open_postgresql,
    open_sqlite,
)
from hipwright.adapters.store.desk import new_id
from hipwright.adapters.store.faults import told_plainly
from hipwright.adapters.store.image_files import ImageFiles, sync_folder
from hipwright.adapters.store.keeper import DatabaseKeeper
from hipwright.adapters.store.models import DeviceRow, WorkspaceRow
from hipwright.adapters.store.snapshots import copy_sqlite, copy_tables
from hipwright.adapters.store.transactions import Transactions
from hipwright.domain.errors import KeepingError, NotFoundError, WorkspaceVersionError

MARK = "workspace.json"
DATABASE = "hipwright.db"
FILES = "files"
IDENTITY = "identity.db"
BEFORE_UPDATES = "before-updates"
_OURS = {MARK, FILES, BEFORE_UPDATES}
_FORMAT = "hipwright.workspace"
_MIGRATION_LOCK = 7_446_710  # any number that nobody else locks in that database


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What says that a folder is a workspace, and which."""

    workspace: str
    database: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """Who opens a workspace, on which machine, with which hipwright, and when."""

    device: str
    by: str
    software: str
    now: Callable[[], datetime]
    busy_timeout_s: float = BUSY_TIMEOUT_S


def open_folder(
    folder: Path, opening: Opening, *, create: bool, database_url: str | None = None
) -> DatabaseKeeper:
    """Open a workspace, made first where there is none and ``create`` says so.

    An older workspace is brought up to date after a copy of its database has been put
    into ``before-updates``.

    Raises
    ------
    NotFoundError
        There is no workspace, and none was to be made.
    KeepingError
        The folder holds other things, cannot be written, or belongs to another database.
    WorkspaceVersionError
        A newer hipwright made it.
    """
    mark = read_mark(folder)
    if mark is None:
        _prepare(folder, create=create)
    else:
        _refuse_other_database(mark, database_url)
    with told_plainly("cannot open the workspace"):
        engine = open_database(folder, database_url, busy_timeout_s=opening.busy_timeout_s)
        try:
            workspace = _bring_up(engine, folder, opening)
            if mark is None:
                write_mark(folder, Mark(workspace=workspace, database=engine.dialect.name))
            else:
                _refuse_foreign_database(mark.workspace, workspace)
        except BaseException:
            engine.dispose()
            raise
    return DatabaseKeeper(
        Transactions(engine, by=opening.by),
        files=ImageFiles(folder / FILES),
        device=opening.device,
        now=opening.now,
        workspace=workspace,
    )


def open_database(
    folder: Path, database_url: str | None, *, busy_timeout_s: float = BUSY_TIMEOUT_S
) -> Engine:
    """An engine on the folder's own SQLite file, or on the database of the URL."""
    if database_url:
        return open_postgresql(database_url, busy_timeout_s=busy_timeout_s)
    return open_sqlite(folder / DATABASE, busy_timeout_s=busy_timeout_s)


def read_mark(folder: Path) -> Mark | None:
    """The folder's mark, ``None`` if it is no workspace (yet).

    Raises
    ------
    KeepingError
        The mark cannot be read.
    WorkspaceVersionError
        A newer hipwright laid the folder out.
    """
    try:
        kept = json.loads((folder / MARK).read_text("utf-8"))
        if kept["format"] == _FORMAT and kept["version"] == 1:
            return Mark(workspace=kept["workspace"], database=kept["database"])
        newer = kept["format"] == _FORMAT
    except (FileNotFoundError, NotADirectoryError):
        return None
    except (ValueError, KeyError, TypeError):
        newer = False
    if newer:
        raise WorkspaceVersionError(
            "cannot open the workspace",
            found="a folder laid out by a newer hipwright",
            needed="layout version 1",
            next_step="Update hipwright on this machine; nothing was changed.",
        )
    raise KeepingError(
        "cannot open the workspace",
        found=f"a {MARK} that is no longer readable",
        needed="the file as hipwright wrote it",
        next_step="Restore the newest backup into a new folder.",
    )


def write_mark(folder: Path, mark: Mark) -> None:
    """Write the mark: complete or not at all."""
    part = folder / f"{MARK}.{secrets.token_hex(4)}.part"
    content = {
        "format": _FORMAT,
        "version": 1,
        "workspace": mark.workspace,
        "database": mark.database,
    }
    with part.open("x", encoding="utf-8") as file:
        json.dump(content, file, indent=2)
        file.flush()
        os.fsync(file.fileno())
    part.replace(folder / MARK)
    sync_folder(folder)


def _prepare(folder: Path, *, create: bool) -> None:
    if not create:
        raise NotFoundError(
            "cannot open the workspace",
            found=f"no workspace in {folder}",
            needed="a folder that hipwright made",
            next_step="Make one by `hipwright add` or `hipwright demo`, "
            "or name yours with --workspace.",
            field="workspace",
        )
    with told_plainly("cannot make the workspace"):
        if folder.is_file() or any(not _is_ours(name) for name in _names(folder)):
            raise KeepingError(
                "cannot make the workspace",
                found=f"other things in {folder}",
                needed="a new or empty folder",
                next_step="Name another folder with --workspace.",
                field="workspace",
            )
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        (folder / FILES).mkdir(mode=0o700, exist_ok=True)
        make_private_file(folder / DATABASE)
        sync_folder(folder)
        with suppress(OSError):  # whoever may not look into the folder above need not sync it
            sync_folder(folder.parent)


def _names(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()] if folder.is_dir() else []


def _is_ours(name: str) -> bool:
    databases = (DATABASE, IDENTITY)
    return name in _OURS or name.startswith((*databases, f"{MARK}."))


def _bring_up(engine: Engine, folder: Path, opening: Opening) -> str:
    """Bring tables up to date and know this device; return the workspace's id."""
    with engine.connect() as connection:
        found = schema.revision(connection)
        schema.refuse_newer(found)
        if found == schema.HEAD:
            known = select(DeviceRow.id).where(DeviceRow.id == opening.device)
            if connection.execute(known).first() is not None:
                return _workspace_id(connection)
    with engine.connect() as connection:
        connection.execution_options(**{WRITES: True})
        with connection.begin():
            _migrate_alone(connection, folder, opening)
            _enter_device(connection, opening)
            return _workspace_id(connection)


def _migrate_alone(connection: Connection, folder: Path, opening: Opening) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SELECT pg_advisory_xact_lock({_MIGRATION_LOCK})"))
    found = schema.revision(connection)  # again: another process may have been faster
    if found == schema.HEAD:
        return
    if schema.has_tables(connection):
        moment = opening.now().strftime("%Y%m%dT%H%M%S")
        _copy_before(connection, folder / BEFORE_UPDATES, f"{found or 'none'}-{moment}.db")
    schema.migrate(connection)
    papers = {
        "origin": opening.device,
        "recorded_at": opening.now(),
        "recorded_by": opening.software,
    }
    if connection.execute(select(WorkspaceRow.id)).first() is None:
        connection.execute(insert(DeviceRow), {"id": opening.device, **papers})
        row = {"id": new_id(), **papers, "workspace": new_id(), "software": opening.software}
        connection.execute(insert(WorkspaceRow), row)


def _copy_before(connection: Connection, folder: Path, name: str) -> None:
    folder.mkdir(mode=0o700, exist_ok=True)
    if connection.dialect.name == "sqlite":
        copy_sqlite(Path(connection.engine.url.database or ""), folder / name)
    else:
        copy_tables(connection, folder / name)
    sync_folder(folder)


def _enter_device(connection: Connection, opening: Opening) -> None:
    if connection.execute(select(DeviceRow.id).where(DeviceRow.id == opening.device)).first():
        return
    row = {
        "id": opening.device,
        "origin": opening.device,
        "recorded_at": opening.now(),
        "recorded_by": opening.software,
    }
    connection.execute(insert(DeviceRow), row)


def _workspace_id(connection: Connection) -> str:
    newest = select(WorkspaceRow.workspace).order_by(WorkspaceRow.id.desc()).limit(1)
    return connection.execute(newest).scalar_one()


def _refuse_other_database(mark: Mark, database_url: str | None) -> None:
    wanted = "postgresql" if database_url else "sqlite"
    if mark.database == wanted:
        return
    by_url = mark.database == "postgresql"
    raise KeepingError(
        "cannot open the workspace",
        found="no database URL" if by_url else "a database URL",
        needed="the URL of its PostgreSQL database"
        if by_url
        else "none: this workspace keeps its rows in its own folder",
        next_step="Set HIPWRIGHT_DATABASE_URL." if by_url else "Unset HIPWRIGHT_DATABASE_URL.",
        field="database_url",
    )


def _refuse_foreign_database(marked: str, found: str) -> None:
    if marked != found:
        raise KeepingError(
            "cannot open the workspace",
            found="a database of another workspace",
            needed="folder and database of one workspace",
            next_step="Check --workspace and HIPWRIGHT_DATABASE_URL: they belong together.",
        )
