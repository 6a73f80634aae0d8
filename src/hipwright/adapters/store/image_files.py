"""Files kept under their own SHA-256: written once, complete or not at all."""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from hipwright.adapters.store.faults import told_plainly
from hipwright.domain.errors import KeepingError, NotFoundError

DIGEST = re.compile(r"[0-9a-f]{64}")
PART = ".part"


class ImageFiles:
    """A folder of files, sharded by the first two digits of their digests.

    A file is written under another name, brought to the disk and then renamed;
    its folder is brought to the disk too before the file counts as kept.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(self, content: bytes) -> str:
        """Keep a file and return its SHA-256."""
        digest = hashlib.sha256(content).hexdigest()
        path = self.path(digest)
        with told_plainly("cannot keep a file"):
            if self._is_kept(path, len(content)):
                return digest
            path.parent.mkdir(mode=0o700, exist_ok=True)
            _write_whole(path, content)
            sync_folder(path.parent)
            sync_folder(self.folder)
        return digest

    def get(self, digest: str) -> bytes:
        """Read a file and check it against its digest.

        Raises
        ------
        NotFoundError
            There is no such file.
        KeepingError
            The file's bytes are no longer what they were.
        """
        try:
            content = self.path(digest).read_bytes()
        except FileNotFoundError as error:
            raise _missing(digest) from error
        except OSError as error:
            with told_plainly("cannot read a stored file"):
                raise error from None
        if hashlib.sha256(content).hexdigest() != digest:
            raise KeepingError(
                f"cannot use the stored file {digest[:12]}…",
                found="other bytes than were stored",
                needed="the file as it was imported",
                next_step="Restore it from a backup, or import the images again.",
            )
        return content

    def has(self, digest: str) -> bool:
        """Whether the file is there."""
        return self.path(digest).is_file()

    def path(self, digest: str) -> Path:
        """Where the file lies or would lie.

        Raises
        ------
        NotFoundError
            The text is no digest, so that no file can be called so.
        """
        if not DIGEST.fullmatch(digest):
            raise _missing(digest)
        return self.folder / digest[:2] / digest

    def digests(self) -> Iterator[str]:
        """Every kept file's digest, in order of their names."""
        for path in sorted(self.folder.glob("[0-9a-f][0-9a-f]/*")):
            if DIGEST.fullmatch(path.name):
                yield path.name

    def parts(self) -> list[Path]:
        """Files that were never finished."""
        return sorted(self.folder.glob(f"*/*{PART}"))

    def age_s(self, path: Path, now: float) -> float:
        """Seconds since the file was last kept."""
        return now - path.stat().st_mtime

    def _is_kept(self, path: Path, size: int) -> bool:
        try:
            found = path.stat()
        except FileNotFoundError:
            return False
        if found.st_size != size:
            return False  # damaged: the file is written anew
        with suppress(PermissionError):
            os.utime(path)  # kept again: no orphan for the next day
        return True


def _missing(digest: str) -> NotFoundError:
    return NotFoundError(
        f"cannot read the stored file {digest[:12]}…",
        found="none of that name",
        needed="a file of the workspace",
        next_step="Run `hipwright doctor`; restore a backup if files are missing.",
    )


def _write_whole(path: Path, content: bytes) -> None:
    part = path.with_name(f"{path.name}.{secrets.token_hex(4)}{PART}")
    try:
        handle = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, stat.S_IRUSR | stat.S_IWUSR)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(stat.S_IRUSR)
        part.replace(path)
    except OSError:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise


def sync_folder(folder: Path) -> None:
    """Bring a folder's list of names to the disk, where the system can (Windows need not)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
