"""Files that no row refers to: what an import that was cut off leaves behind."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine, select, text

from hipwright.adapters.store.connections import WRITES
from hipwright.adapters.store.faults import told_plainly
from hipwright.adapters.store.image_files import ImageFiles
from hipwright.adapters.store.models import ImageFileRow

GRACE_S = 24 * 3600.0
"""An import may keep files this long before its rows come (judgment)."""


def orphans(files: ImageFiles, wanted: set[str]) -> list[Path]:
    """Files that nothing refers to, and files that were never finished."""
    stray = [files.path(digest) for digest in files.digests() if digest not in wanted]
    return stray + files.parts()


def collect(engine: Engine, files: ImageFiles, *, now: float, grace_s: float = GRACE_S) -> int:
    """Remove orphans older than ``grace_s``; return how many.

    No image can be added meanwhile: ``add_image`` inserts its rows first and looks for
    its files then, so that one of the two sees the other.
    """
    collected = 0
    with told_plainly("cannot collect the orphans"), engine.connect() as connection:
        connection.execution_options(**{WRITES: True})
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(text("LOCK TABLE image_file IN SHARE ROW EXCLUSIVE MODE"))
            wanted = set(connection.execute(select(ImageFileRow.sha256)).scalars())
            for path in orphans(files, wanted):
                if files.age_s(path, now) >= grace_s:
                    path.unlink()
                    collected += 1
    return collected
