"""Reading versioned things: how they are now, and how they came to be so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Select, func, select

from hipwright.adapters.store.models import (
    Base,
    CaseVersionRow,
    ImageFileRow,
    ImageVersionRow,
    PersonVersionRow,
)
from hipwright.domain.keeping import Change

PAPERS = {"id", "origin", "recorded_at", "recorded_by", "version"}


def newest(
    thing: type[Base], version: type[Base], to_thing: str, fields: Sequence[str]
) -> Select[Any]:
    """A query for things with the fields of their newest version."""
    facts, versions = thing.__table__, version.__table__
    other = versions.alias("other")
    last = (
        select(func.max(other.c.version)).where(other.c[to_thing] == facts.c.id).scalar_subquery()
    )
    columns = [versions.c[name] for name in ("version", *fields)]
    return (
        select(facts, *columns)
        .join(versions, versions.c[to_thing] == facts.c.id)
        .where(versions.c.version == last)
    )


VERSIONED: Mapping[type[Base], str] = {
    PersonVersionRow: "person_id",
    CaseVersionRow: "case_id",
    ImageVersionRow: "image_id",
}


def history(connection: Connection, thing: str) -> list[Change]:
    """Every change of a person, case or image, first to last."""
    changes: list[Change] = []
    for table, to_thing in VERSIONED.items():
        columns = table.__table__.columns
        query = select(table.__table__).where(columns[to_thing] == thing)
        before: dict[str, Any] = {}
        files = _file_counts(connection, thing) if table is ImageVersionRow else {}
        for row in connection.execute(query.order_by(columns["version"])).mappings():
            now = {k: v for k, v in row.items() if k not in PAPERS and k != to_thing}
            if row["version"] in files:
                now["files"] = files[row["version"]]
            elif "files" in before:
                now["files"] = before["files"]
            differing = [name for name in now if name not in before or before[name] != now[name]]
            changes.append(
                Change(
                    thing=thing,
                    version=row["version"],
                    at=row["recorded_at"],
                    by=row["recorded_by"],
                    device=row["origin"],
                    before={name: before[name] for name in differing if name in before},
                    after={name: now[name] for name in differing},
                )
            )
            before = now
    return changes


def _file_counts(connection: Connection, image: str) -> dict[int, int]:
    """How many files each version of an image brought, for those that brought some."""
    columns = ImageFileRow.__table__.c
    query = (
        select(columns.version, func.count())
        .where(columns.image_id == image)
        .group_by(columns.version)
    )
    return {row[0]: row[1] for row in connection.execute(query)}
