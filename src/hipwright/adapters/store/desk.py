"""What all parts of the keeper work with: rows with their papers, and what refuses a write."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, RowMapping, insert, select
from uuid_utils.compat import uuid7

from hipwright.adapters.store.image_files import ImageFiles
from hipwright.adapters.store.models import Base
from hipwright.adapters.store.transactions import Transactions, Writer
from hipwright.domain.errors import KeepingError, NotFoundError, StaleWriteError

UUID_VERSION = 7


def new_id() -> str:
    """Make a UUIDv7: ids of one device sort by the time they were made."""
    return str(uuid7())


class Desk:
    """The database, the files, the device and the clock of one open workspace."""

    def __init__(
        self,
        transactions: Transactions,
        *,
        files: ImageFiles,
        device: str,
        now: Callable[[], datetime],
        workspace: str,
    ) -> None:
        self.transactions = transactions
        self.files = files
        self.device = device
        self.now = now
        self.workspace = workspace

    def new_id(self) -> str:
        """Make an id for a new row."""
        return new_id()

    def insert(self, writer: Writer, table: type[Base], rows: list[dict[str, Any]]) -> None:
        """Append rows, each with device, time and author; those without an id get one."""
        papers = {"origin": self.device, "recorded_at": self.now(), "recorded_by": writer.by}
        if rows:
            made = [{"id": row.get("id") or self.new_id(), **papers, **row} for row in rows]
            writer.connection.execute(insert(table), made)


def checked_id(text: str, *, of: str) -> str:
    """An id for a new row, as it is kept.

    Raises
    ------
    KeepingError
        It is not a UUIDv7.
    """
    parsed = _parsed(text)
    if parsed is None or parsed.version != UUID_VERSION:
        raise KeepingError(
            f"cannot keep the {of}",
            found="another id",
            needed="a UUIDv7 as id",
            next_step="Take ids from the keeper's new_id().",
            field="id",
        )
    return str(parsed)


def known_id(text: str, *, of: str) -> str:
    """An id that is looked up; text that cannot be one names nothing."""
    parsed = _parsed(text)
    if parsed is None:
        raise not_found(of, text)
    return str(parsed)


def is_id(text: str) -> bool:
    """Whether the text is an id, not a case code."""
    return _parsed(text) is not None


def _parsed(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def not_found(of: str, wanted: str, *, field: str = "id") -> NotFoundError:
    """There is no such thing."""
    return NotFoundError(
        f"cannot find the {of} {wanted[:40]!r}",
        found="none of that name",
        needed=f"{'an' if of[0] in 'aeiou' else 'a'} {of} of this workspace",
        next_step="List what there is with `hipwright cases`.",
        field=field,
    )


def one_row(
    connection: Connection, table: type[Base], key: Mapping[str, Any]
) -> RowMapping | None:
    """The only row with these values."""
    columns = table.__table__.columns
    query = select(table.__table__).where(*(columns[name] == key[name] for name in key))
    return connection.execute(query).mappings().one_or_none()


def refuse_taken(connection: Connection, table: type[Base], row: str, *, of: str) -> None:
    """Stop before an id that is kept already."""
    if one_row(connection, table, {"id": row}) is not None:
        raise KeepingError(
            f"cannot keep the {of}",
            found="one with this id already",
            needed="a new id",
            next_step="Take ids from the keeper's new_id().",
            field="id",
        )


def refuse_fixed(kept: object, offered: object, names: Iterable[str], *, of: str) -> None:
    """Stop a change of what cannot change."""
    for name in names:
        if getattr(kept, name) != getattr(offered, name):
            raise KeepingError(
                f"cannot change the {of}",
                found=f"another {name}",
                needed=f"the {name} that it was made with",
                next_step="Change what can change, or make another.",
                field=name,
            )


def hold(writer: Writer, table: type[Base], row_id: str) -> None:
    """Let no other writer add a version to this row's thing until we are done.

    SQLite has one writer anyway.
    """
    if writer.connection.dialect.name == "sqlite":
        return
    columns = table.__table__.columns
    query = select(columns["id"]).where(columns["id"] == row_id).with_for_update(key_share=True)
    writer.connection.execute(query)


def refuse_stale(*, of: str, kept: object, version: int, expected: int, offered: object) -> None:
    """Stop a write by somebody who has not seen the newest version.

    Raises
    ------
    StaleWriteError
        The versions differ; the error carries both values.
    """
    if version != expected:
        raise StaleWriteError(
            f"cannot save the {of}",
            kept=kept,
            offered=offered,
            found=f"version {version} kept by now",
            needed=f"version {expected}, the one that was changed",
            next_step="Look at both values, decide, and save again on top of the newest.",
            field="version",
        )
