"""A disc's table of contents (DICOMDIR): which files it names."""

from __future__ import annotations

from pathlib import Path

from pydicom import dcmread

NAMES = {"DICOMDIR"}
MOST_RECORDS = 200_000


def is_disc_index(path: Path) -> bool:
    """Whether a file is called as PS3.10 section 8.6 demands."""
    return path.name.upper() in NAMES


def files_named_by(index: Path) -> tuple[list[Path], int]:
    """The files the index names below its own folder, and how many lie elsewhere.

    Raises
    ------
    ValueError
        The index cannot be read.
    """
    base = index.parent.resolve()
    try:
        records = dcmread(index, force=True).get("DirectoryRecordSequence") or []
        named: list[Path] = []
        outside = 0
        for record in list(records)[:MOST_RECORDS]:
            parts = record.get("ReferencedFileID")
            if not parts:
                continue
            parts = [parts] if isinstance(parts, str) else list(parts)
            path = _really(base, [str(part) for part in parts])
            if path is None:
                outside += 1
            else:
                named.append(path)
    except Exception as problem:  # a damaged index can raise anything
        raise ValueError("the disc's table of contents cannot be read") from problem
    return named, outside


def _really(base: Path, parts: list[str]) -> Path | None:
    """The file in whatever case the disc was copied, or ``None`` if it lies outside."""
    if any(part in {"", ".", ".."} or "/" in part or "\\" in part for part in parts):
        return None
    path = base
    for part in parts:
        exact = path / part
        if not exact.exists():
            exact = path / part.lower() if (path / part.lower()).exists() else exact
        path = exact
    return path if path.resolve().is_relative_to(base) else None
