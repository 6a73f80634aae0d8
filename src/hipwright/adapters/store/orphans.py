"""Files that no row refers to: what an import that was cut off leaves behind."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine

from hipwright.adapters.store.connections import WRITES
from hipwright.adapters.store.faults import told_plainly
from hipwright.adapters.store.file_references import lock_references, referred_digests
from hipwright.adapters.store.image_files import ImageFiles

GRACE_S = 24 * 3600.0
"""An import may keep files this long before its rows come (judgment)."""


def orphans(files: ImageFiles, wanted: set[str]) -> list[Path]:
    """Files that nothing refers to, and files that were never finished."""
    stray = [files.path(digest) for digest in files.digests() if digest not in wanted]
    return stray + files.parts()


def collect(engine: Engine, files: ImageFiles, *, now: float, grace_s: float = GRACE_S) -> int:
    """Remove orphans older than ``grace_s``; return how many.

    Nothing that refers to files can be added meanwhile: ``add_image`` and the like insert
    their rows first and look for their files then, so that one of the two sees the other.
    """
    collected = 0
    with told_plainly("cannot collect the orphans"), engine.connect() as connection:
        connection.execution_options(**{WRITES: True})
        with connection.begin():
            lock_references(connection)
            wanted = referred_digests(connection)
            for path in orphans(files, wanted):
                if files.age_s(path, now) >= grace_s:
                    path.unlink()
                    collected += 1
    return collected
