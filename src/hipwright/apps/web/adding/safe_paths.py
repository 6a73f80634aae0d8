"""Names of strangers' files, made fit to be written on this machine."""

from __future__ import annotations

import re
from pathlib import Path, PurePosixPath

from hipwright.domain.errors import ImportRefusedError

LONGEST_NAME = 120
DEEPEST = 40
NOT_IN_NAMES = re.compile(r'[\x00-\x1f\x7f<>:"|?*\\/\u202a-\u202e\u2066-\u2069]')
NAMES_OF_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


def safe_path(folder: Path, sent: str) -> Path:
    """Where a file goes that the browser calls ``sent``.

    Parts that could lead out of the folder are dropped, letters that a file system
    cannot take are replaced, and long names are cut.

    Raises
    ------
    ImportRefusedError
        Nothing is left of the name, or it lies too deep.
    """
    parts = [_part(part) for part in PurePosixPath(sent.replace("\\", "/")).parts]
    kept = [part for part in parts if part]
    if not kept or len(kept) > DEEPEST:
        raise ImportRefusedError(
            "cannot take the file",
            found="no usable name" if not kept else f"folders {len(kept)} deep",
            needed=f"a name, and at most {DEEPEST} folders",
            next_step="Rename it or move it up.",
            field="path",
        )
    path = folder.joinpath(*kept)
    if not path.resolve().is_relative_to(folder.resolve()):
        raise ImportRefusedError("cannot take the file", found="a name that leads elsewhere")
    return path


def _part(part: str) -> str:
    cleaned = NOT_IN_NAMES.sub("_", part).strip().rstrip(".")
    if not cleaned.strip("._"):
        return ""
    if NAMES_OF_DEVICES.fullmatch(cleaned):
        cleaned = f"_{cleaned}"
    stem, dot, ending = cleaned.rpartition(".")
    if len(cleaned) > LONGEST_NAME and dot and len(ending) < LONGEST_NAME // 4:
        return f"{stem[: LONGEST_NAME - len(ending) - 1]}.{ending}"
    return cleaned[:LONGEST_NAME]
