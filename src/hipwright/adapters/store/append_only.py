"""Triggers that make history impossible to rewrite, in either database.

``UPDATE`` and ``DELETE`` fail on every table. SQLite's ``INSERT OR REPLACE`` deletes
without asking delete triggers, so an insert over an existing key fails too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

MESSAGE = "hipwright: history is append-only"

POSTGRESQL_FUNCTION = f"""
CREATE FUNCTION hipwright_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{MESSAGE}'; END $$
"""


def trigger_names(table: str) -> tuple[str, ...]:
    """The triggers that must stand on a table of a SQLite workspace."""
    return tuple(f"{table}_no_{what}" for what in ("update", "delete", "replace"))


def sqlite_triggers(table: str, keys: Iterable[Sequence[str]]) -> list[str]:
    """Statements that protect one table whose unique keys are ``keys``."""
    stop = f"BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
    taken = " OR ".join(
        f"EXISTS (SELECT 1 FROM {table} WHERE "  # noqa: S608 - names come from migrations
        + " AND ".join(f"{column} = NEW.{column}" for column in key)
        + ")"
        for key in keys
    )
    update, delete, replace = trigger_names(table)
    return [
        f"CREATE TRIGGER {update} BEFORE UPDATE ON {table} {stop}",
        f"CREATE TRIGGER {delete} BEFORE DELETE ON {table} {stop}",
        f"CREATE TRIGGER {replace} BEFORE INSERT ON {table} WHEN {taken} {stop}",
    ]


def postgresql_triggers(table: str) -> list[str]:
    """Statements that protect one table; :data:`POSTGRESQL_FUNCTION` must exist."""
    call = "EXECUTE FUNCTION hipwright_append_only()"
    rows = f"BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW"
    whole = f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT"
    return [
        f"CREATE TRIGGER {table}_append_only {rows} {call}",
        f"CREATE TRIGGER {table}_no_truncate {whole} {call}",
    ]
