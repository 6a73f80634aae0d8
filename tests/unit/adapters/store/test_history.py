"""History cannot be rewritten, whoever opens the database, in SQLite and in PostgreSQL."""
# ruff: noqa: S608 - the names are those of our own tables

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import exc, text

from hipwright.adapters.store.models import Base
from hipwright.adapters.store.workspace_folder import DATABASE
from hipwright.wiring import open_workspace
from hipwright.workflows.ports import WorkspaceKeeper
from tests.contract.kept_bones import a_build, a_job, a_reading, some_edits
from tests.contract.kept_things import Clinic, a_clinic, a_grade, some_landmarks

TABLES = [table.name for table in Base.metadata.sorted_tables]


def keep_one_of_each(keeper: WorkspaceKeeper, clinic: Clinic) -> None:
    """At least one row in every table."""
    keeper.save_reading(clinic.case.id, some_landmarks(clinic.film), expected_version=0)
    keeper.save_grade(a_grade(keeper, clinic, "1"))
    build = keeper.add_bone_build(a_build(keeper, clinic))
    keeper.save_bone_reading(a_reading(keeper, build), expected_version=0)
    some_edits(keeper, clinic, b"edits", expected_version=0)
    keeper.add_job(a_job(keeper))


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite database with at least one row in every table."""
    folder = tmp_path_factory.mktemp("history") / "workspace"
    with open_workspace(folder, create=True) as opened:
        clinic = a_clinic(opened.keeper)
        keep_one_of_each(opened.keeper, clinic)
    return folder / DATABASE


@pytest.fixture
def connection(database: Path) -> Iterator[sqlite3.Connection]:
    """A connection of a stranger: none of our settings."""
    with closing(sqlite3.connect(database)) as opened:
        yield opened


@pytest.mark.parametrize("table", TABLES)
def test_no_row_of_sqlite_can_be_changed_deleted_or_replaced(
    connection: sqlite3.Connection, table: str
) -> None:
    before = connection.execute(f"SELECT * FROM {table}").fetchall()
    assert before
    for statement in (
        f"UPDATE {table} SET recorded_by = 'somebody else'",
        f"DELETE FROM {table}",
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="history is append-only"):
            connection.execute(statement)
    assert connection.execute(f"SELECT * FROM {table}").fetchall() == before


def test_no_version_of_sqlite_can_be_replaced_under_a_new_id(
    connection: sqlite3.Connection,
) -> None:
    names = [row[1] for row in connection.execute("PRAGMA table_info(reading_version)")]
    columns = ", ".join("'0' || substr(id, 2)" if name == "id" else name for name in names)
    with pytest.raises(sqlite3.IntegrityError, match="history is append-only"):
        connection.execute(
            f"INSERT OR REPLACE INTO reading_version SELECT {columns} FROM reading_version"
        )


def test_no_row_of_postgresql_can_be_changed_deleted_or_truncated(
    postgresql_url: str, tmp_path: Path
) -> None:
    with open_workspace(tmp_path / "w", create=True, database_url=postgresql_url) as opened:
        clinic = a_clinic(opened.keeper)
        keep_one_of_each(opened.keeper, clinic)
        engine = opened.keeper.transactions.engine
        for table in TABLES:
            for statement in (
                f"UPDATE {table} SET recorded_by = 'somebody else'",
                f"DELETE FROM {table}",
                f"TRUNCATE {table} CASCADE",
            ):
                with (
                    engine.begin() as connection,
                    pytest.raises(exc.DBAPIError, match="history is append-only"),
                ):
                    connection.execute(text(statement))


def test_every_row_has_a_uuid7_a_device_a_time_and_an_author(
    connection: sqlite3.Connection,
) -> None:
    (device,) = connection.execute("SELECT id FROM device").fetchone()
    for table in TABLES:
        for row_id, origin, at, by in connection.execute(
            f"SELECT id, origin, recorded_at, recorded_by FROM {table}"
        ):
            assert len(row_id) == 32
            assert row_id[12] == "7"  # the version digit of RFC 9562
            assert origin == device
            assert at
            assert by
