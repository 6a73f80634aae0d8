"""What every migration makes tables with: the papers of a row, and triggers that protect it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from alembic import op

from hipwright.adapters.store.append_only import postgresql_triggers, sqlite_triggers
from hipwright.adapters.store.column_types import Id, UtcTime

Key = tuple[str, ...]


def to(table: str, column: str = "") -> sa.Column[str]:
    """A column that refers to a row of another table."""
    return sa.Column(column or f"{table}_id", Id, sa.ForeignKey(f"{table}.id"), nullable=False)


def text(name: str) -> sa.Column[str]:
    """A column of words."""
    return sa.Column(name, sa.Text, nullable=False)


def add_versions(name: str, of: sa.Column[str], *columns: sa.Column[Any]) -> None:
    """Make a table of the versions of a thing."""
    version = sa.Column("version", sa.Integer, nullable=False)
    add_table(name, of, version, *columns, unique=[(of.name, "version")])


def add_table(
    name: str,
    *columns: sa.Column[Any],
    unique: Sequence[Key] = (),
    index: Sequence[str] = (),
) -> None:
    """Make an append-only table."""
    op.create_table(
        name,
        sa.Column("id", Id, primary_key=True),
        sa.Column("origin", Id, sa.ForeignKey("device.id"), nullable=False),
        sa.Column("recorded_at", UtcTime, nullable=False),
        sa.Column("recorded_by", sa.String(120), nullable=False),
        *columns,
        *(sa.UniqueConstraint(*key) for key in unique),
    )
    for column in index:
        op.create_index(f"ix_{name}_{column}", name, [column])
    if op.get_bind().dialect.name == "sqlite":
        statements = sqlite_triggers(name, [("id",), *unique])
    else:
        statements = postgresql_triggers(name)
    for statement in statements:
        op.execute(statement)
