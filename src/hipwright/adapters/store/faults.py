"""What databases and disks say when they fail, told in the workspace's words."""

from __future__ import annotations

import errno
from collections.abc import Generator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy import exc

from hipwright.domain.errors import KeepingError, WorkspaceBusyError

FULL_NEXT = "Free some space on the disk and try again: nothing was half-written."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fault:
    """What the databases say, and what that means."""

    said: tuple[str, ...]
    found: str
    needed: str
    next_step: str
    kind: type[KeepingError] = KeepingError

    def error(self, what: str) -> KeepingError:
        return self.kind(what, found=self.found, needed=self.needed, next_step=self.next_step)


_BUSY = _Fault(
    said=("database is locked", "table is locked", "lock timeout", "deadlock detected"),
    found="another program writing to the workspace",
    needed="its turn within a few seconds",
    next_step="Let the other import or save finish, then try again: nothing was lost.",
    kind=WorkspaceBusyError,
)
_FULL = _Fault(
    said=("database or disk is full", "no space left", "disk full", "quota exceeded"),
    found="a full disk",
    needed="free space",
    next_step=FULL_NEXT,
)
_READ_ONLY = _Fault(
    said=("readonly database", "read-only", "unable to open database file", "permission denied"),
    found="a folder that cannot be written",
    needed="a workspace folder that this user may write",
    next_step="Check the folder's owner and whether its disk is read-only, "
    "or choose another with --workspace.",
)
_FAILING = _Fault(
    said=("disk i/o error",),
    found="a disk that failed while it was read or written",
    needed="a sound disk",
    next_step="Check the disk and its free space, then run `hipwright doctor`.",
)
_DAMAGED = _Fault(
    said=("malformed", "file is not a database"),
    found="a database that cannot be read",
    needed="a sound database",
    next_step="Run `hipwright doctor`; restore the newest backup if it finds damage.",
)
_CONTRADICTS = _Fault(
    said=("constraint", "append-only"),
    found="an entry that contradicts what is kept",
    needed="ids and codes that are new, and references to what is kept",
    next_step="Look at what is kept now and try again.",
)
_FAULTS = (_BUSY, _FULL, _READ_ONLY, _FAILING, _DAMAGED, _CONTRADICTS)


@contextmanager
def told_plainly(what: str) -> Generator[None]:
    """Turn failures of the database or the disk into a ``KeepingError``.

    Parameters
    ----------
    what
        What could not be done, beginning with ``cannot``.
    """
    try:
        yield
    except exc.DBAPIError as error:
        raise from_database(what, error) from error
    except OSError as error:
        raise from_disk(what, error) from error


def from_database(what: str, error: exc.DBAPIError) -> KeepingError:
    """Tell a database's failure; its own text can hold values, so it is not repeated."""
    said = str(error.orig).lower()
    if getattr(error.orig, "sqlite_errorname", "") == "SQLITE_IOERR_SHMSIZE":
        return _FULL.error(what)  # SQLite could not grow the index of its log
    for fault in _FAULTS:
        if any(words in said for words in fault.said):
            return fault.error(what)
    return KeepingError(
        what,
        found=f"a failure of the database ({type(error.orig).__name__})",
        needed="a database that answers",
        next_step="Try again; if it stays, run `hipwright doctor`.",
    )


def from_disk(what: str, error: OSError) -> KeepingError:
    """Tell a disk's failure without the path, which can hold a name."""
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return _FULL.error(what)
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return _READ_ONLY.error(what)
    return KeepingError(
        what,
        found=error.strerror or type(error).__name__,
        needed="a disk that answers",
        next_step="Check the disk and try again; nothing was half-written.",
    )
