"""Copies of a database that is in use, each of one moment."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import URL, Connection, MetaData, create_engine, insert, select

from hipwright.adapters.store.connections import make_private_file

_BATCH = 1000


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy a SQLite database, also while others write to it, into one new file."""
    make_private_file(target)
    with closing(sqlite3.connect(source)) as there, closing(sqlite3.connect(target)) as here:
        there.backup(here)
    make_single(target)


def make_single(database: Path) -> None:
    """Leave a SQLite database in one file, without side files, on the disk."""
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    sync_file(database)


def copy_tables(source: Connection, target: Path) -> None:
    """Copy all tables of another kind of database, as they are, into one new SQLite file.

    For the copy before an update: tables of an older version are not those of our models.
    """
    make_private_file(target)
    tables = MetaData()
    tables.reflect(source)
    engine = create_engine(URL.create("sqlite", database=str(target)))
    try:
        with engine.begin() as here:
            tables.create_all(here)
            copy_rows(source, here, tables)
    finally:
        engine.dispose()
    sync_file(target)


def copy_rows(source: Connection, target: Connection, tables: MetaData) -> None:
    """Copy every row, tables in the order in which they refer to each other."""
    for table in tables.sorted_tables:
        streaming = {"yield_per": _BATCH}
        rows = source.execute(select(table), execution_options=streaming).mappings()
        for batch in rows.partitions(_BATCH):
            target.execute(insert(table), [dict(row) for row in batch])


def sync_file(path: Path) -> None:
    """Bring a file that another program wrote to the disk."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
