"""Which stored files the rows refer to: images, surfaces, labels, edits."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, inspect, select, text

from hipwright.adapters.store.image_files import ImageFiles
from hipwright.adapters.store.models import (
    Base,
    BoneBuildRow,
    ImageFileRow,
    KeptBoneRow,
    LabelEditsRow,
)
from hipwright.domain.errors import KeepingError

_REFERRING: tuple[tuple[type[Base], str], ...] = (
    (ImageFileRow, "sha256"),
    (KeptBoneRow, "surface_file"),
    (BoneBuildRow, "labels_file"),
    (BoneBuildRow, "edits_file"),
    (LabelEditsRow, "edits_file"),
)


def referred_digests(connection: Connection) -> set[str]:
    """The digests of all files that any row refers to.

    Tables that an older workspace does not have yet refer to nothing.
    """
    there = set(inspect(connection).get_table_names())
    digests: set[str] = set()
    for table, name in _REFERRING:
        if table.__tablename__ in there:
            column = table.__table__.c[name]
            query = select(column).where(column.is_not(None)).distinct()
            digests.update(connection.execute(query).scalars())
    return digests


def lock_references(connection: Connection) -> None:
    """Let nobody add a reference until this transaction ends; SQLite has one writer anyway."""
    if connection.dialect.name == "postgresql":
        tables = sorted({table.__tablename__ for table, _ in _REFERRING})
        connection.execute(text(f"LOCK TABLE {', '.join(tables)} IN SHARE ROW EXCLUSIVE MODE"))


def refuse_absent(files: ImageFiles, digests: Iterable[str], *, of: str) -> None:
    """Stop before rows that refer to files that are not kept.

    Called after the rows were inserted: from there on no collection of orphans runs until
    the transaction ends.

    Raises
    ------
    KeepingError
        At least one is not there.
    """
    wanted = [digest for digest in digests if digest]
    absent = sum(not files.has(digest) for digest in wanted)
    if absent:
        raise KeepingError(
            f"cannot keep the {of}",
            found=f"{absent} of its {len(wanted)} files not in the workspace",
            needed="every file kept first, with put_file()",
            next_step="Make it again.",
            field="files",
        )
