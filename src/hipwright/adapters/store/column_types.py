"""Column types that mean the same in SQLite and in PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import DateTime, Uuid
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

Id = Uuid(as_uuid=False)
"""A UUIDv7 as text: ``uuid`` in PostgreSQL, 32 digits in SQLite."""


class UtcTime(TypeDecorator[datetime]):
    """A moment, kept in UTC and given back with its zone (SQLite forgets it)."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a time without a zone: nobody could say later when it was."""
        del dialect  # both keep UTC
        if value is None:
            return None
        if value.tzinfo is None:
            msg = "a kept time needs its time zone"
            raise ValueError(msg)
        return value.astimezone(UTC)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Attach the zone that SQLite does not keep."""
        del dialect
        if value is None:
            return None
        moment: datetime = value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
