"""Files inside zip archives, read in memory: nothing is ever unpacked to a path.

So an entry named ``../../etc/passwd`` cannot land anywhere. It is turned
away all the same, because an honest archive has no such entry.
"""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import IO

from hipwright.adapters.archives.limits import Limits
from hipwright.adapters.archives.printable import printable
from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Rejected
from hipwright.workflows.ports import FoundFile

ZIP_START = (b"PK\x03\x04", b"PK\x05\x06")
ENCRYPTED = 0x1
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError)


def files_in_zip(
    source: Path | bytes, *, name: str, limits: Limits, depth: int = 0
) -> Iterator[FoundFile | Rejected]:
    """Every file of an archive, archives inside it included."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(source) if isinstance(source, bytes) else source)
        entries = archive.infolist()
    except (*_BROKEN, ValueError, UnicodeError):
        yield Rejected(file=name, reason="A damaged or incomplete zip archive.")
        return
    trap = _trap(entries, limits)
    if trap is not None:
        yield Rejected(file=name, reason=trap)
        return
    for entry in entries:
        shown = f"{name} › {printable(entry.filename)}"
        if entry.is_dir():
            continue
        problem = _why_not(entry, limits)
        if problem is not None:
            yield Rejected(file=shown, reason=problem)
            continue
        file = _found(archive, entry, shown, limits)
        yield from _opened(file, limits, depth)


def _opened(file: FoundFile, limits: Limits, depth: int) -> Iterator[FoundFile | Rejected]:
    """The file, or if it is an archive itself what is in it."""
    try:
        nested = file.head(4) in ZIP_START
        if not nested:
            yield file
            return
        if depth >= limits.nesting:
            yield Rejected(file=file.name, reason="Archives inside archives inside archives.")
        elif file.size > limits.nested_archive_bytes:
            yield Rejected(file=file.name, reason="An archive too large to lie inside another.")
        else:
            yield from files_in_zip(file.read(), name=file.name, limits=limits, depth=depth + 1)
    except ImportRefusedError as problem:
        yield Rejected(file=file.name, reason=f"{problem.what}.")


def _trap(entries: list[zipfile.ZipInfo], limits: Limits) -> str | None:
    """What makes the archive as a whole unacceptable."""
    if len(entries) > limits.archive_entries:
        return f"The archive has {len(entries)} entries; {limits.archive_entries} are the limit."
    total = sum(entry.file_size for entry in entries)
    if total > limits.archive_bytes:
        return (
            f"The archive would unpack to {total / 1e9:.0f} GB; "
            f"{limits.archive_bytes / 1e9:.0f} GB are the limit."
        )
    return None


def _why_not(entry: zipfile.ZipInfo, limits: Limits) -> str | None:
    path = entry.filename.replace("\\", "/")
    pure = PurePosixPath(path)
    if pure.is_absolute() or ".." in pure.parts or path[1:2] == ":":
        return "Its name points outside the archive."
    if stat.S_IFMT(entry.external_attr >> 16) not in {0, stat.S_IFREG}:
        return "A link or a special file."
    if entry.flag_bits & ENCRYPTED:
        return "It is locked with a password: unpack the archive first."
    if entry.file_size > limits.file_bytes:
        return f"Absurdly large: {entry.file_size / 1e9:.1f} GB."
    packed = max(1, entry.compress_size)
    if (
        entry.file_size > limits.suspicious_from_bytes
        and entry.file_size / packed > limits.suspicious_ratio
    ):
        return f"Packed {entry.file_size // packed} times over: not a picture."
    return None


def _found(
    archive: zipfile.ZipFile, entry: zipfile.ZipInfo, shown: str, limits: Limits
) -> FoundFile:
    def taken(count: int) -> bytes:
        try:
            with archive.open(entry) as stream:
                return _at_most(stream, count)
        except _BROKEN as problem:
            raise ImportRefusedError("Damaged inside the archive") from problem

    def whole() -> bytes:
        content = taken(min(entry.file_size, limits.file_bytes) + 1)
        if len(content) != entry.file_size:
            raise ImportRefusedError("Not as long as the archive says")
        return content

    return FoundFile(name=shown, size=entry.file_size, read=whole, head=taken)


def _at_most(stream: IO[bytes], count: int) -> bytes:
    return stream.read(count)
