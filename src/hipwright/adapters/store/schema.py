"""The version of the tables: reading it, bringing an older one up, comparing with the models.

Alembic is imported only where it is needed: opening a workspace of the current version
reads one row.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from hipwright.adapters.store.append_only import trigger_names
from hipwright.adapters.store.models import Base
from hipwright.domain.errors import WorkspaceVersionError

REVISIONS = ("0001", "0002")
"""Every version there has been, oldest first."""

HEAD = REVISIONS[-1]


def revision(connection: Connection) -> str | None:
    """The version of the tables, ``None`` where there are none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def has_tables(connection: Connection) -> bool:
    """Whether there is anything that an update could spoil."""
    return bool(inspect(connection).get_table_names())


def refuse_newer(found: str | None) -> None:
    """Stop before a workspace whose tables this hipwright does not know.

    Raises
    ------
    WorkspaceVersionError
        The version is not one of :data:`REVISIONS`.
    """
    if found is not None and found not in REVISIONS:
        raise WorkspaceVersionError(
            "cannot open the workspace",
            found=f"tables of version {found}, made by a newer hipwright",
            needed=f"version {HEAD} or older",
            next_step="Update hipwright on this machine; nothing was changed.",
        )


def migrate(connection: Connection) -> None:
    """Bring the tables to the current version, inside the caller's transaction."""
    from alembic import command
    from alembic.config import Config

    folder = str(Path(__file__).parent / "migrations")
    config = Config()
    config.set_main_option("script_location", folder.replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def differences(connection: Connection) -> list[str]:
    """How the tables differ from the models, in words; nothing where they agree."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    context = MigrationContext.configure(connection, opts={"compare_type": True})
    found = [_in_words(entry) for entry in compare_metadata(context, Base.metadata)]
    return found + [f"trigger {name} is missing" for name in _missing_triggers(connection)]


def _in_words(entry: object) -> str:
    while isinstance(entry, list):
        entry = entry[0]  # alembic nests changes of one column
    parts = entry if isinstance(entry, tuple) else (entry,)
    return " ".join(str(part) for part in parts if part is not None)


def _missing_triggers(connection: Connection) -> list[str]:
    tables = [table.name for table in Base.metadata.sorted_tables]
    if connection.dialect.name == "sqlite":
        needed = [name for table in tables for name in trigger_names(table)]
        query = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    else:
        needed = [f"{table}_{what}" for table in tables for what in ("append_only", "no_truncate")]
        query = "SELECT tgname FROM pg_trigger WHERE tgenabled <> 'D'"
    there = set(connection.execute(text(query)).scalars())
    return [name for name in needed if name not in there]
