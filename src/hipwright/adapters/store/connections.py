"""Opening the database: SQLite that survives power cuts, or PostgreSQL by URL."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError

from hipwright.domain.errors import KeepingError, MissingExtraError

WRITES = "hipwright_writes"
"""Execution option of connections that are about to write."""

BUSY_TIMEOUT_S = 5.0
"""How long a writer waits for its turn."""


def open_sqlite(path: Path, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Engine:
    """An engine on a SQLite file: WAL, every commit on the disk before it is confirmed."""
    url = URL.create("sqlite", database=str(path))
    engine = create_engine(url, connect_args={"timeout": busy_timeout_s})

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, record: object) -> None:
        del record
        connection.isolation_level = None  # BEGIN is ours, see below
        for pragma in (
            "journal_mode = WAL",
            "synchronous = FULL",
            "foreign_keys = ON",
            "recursive_triggers = ON",
            "trusted_schema = OFF",
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A writer takes the lock at once: a reader that turned writer could not wait for it.
        writes = connection.get_execution_options().get(WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def open_postgresql(url: str, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Engine:
    """An engine on a PostgreSQL database.

    Raises
    ------
    KeepingError
        The URL is not one of a PostgreSQL database.
    MissingExtraError
        The extra ``postgresql`` is not installed.
    """
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise _bad_url() from error
    if parsed.get_backend_name() != "postgresql":
        raise _bad_url()
    timeout_ms = round(busy_timeout_s * 1000)
    try:
        return create_engine(
            parsed.set(drivername="postgresql+psycopg"),
            connect_args={"options": f"-c lock_timeout={timeout_ms}", "connect_timeout": 10},
        )
    except ModuleNotFoundError as error:
        raise MissingExtraError(
            "cannot use a PostgreSQL database",
            needed="the package psycopg",
            found="none",
            next_step="Install it with `pip install 'hipwright[postgresql]'`.",
        ) from error


def _bad_url() -> KeepingError:
    # The URL is not repeated: it can hold a password.
    return KeepingError(
        "cannot use the database",
        found="a database URL of another kind",
        needed="postgresql://user@host/database",
        next_step="Correct HIPWRIGHT_DATABASE_URL, or unset it to use SQLite in the workspace.",
    )


def make_private_file(path: Path) -> None:
    """Make an empty file that only its owner can read, unless it is there.

    SQLite gives its side files the permissions of the database.
    """
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
