"""What databases and disks say when they fail, told in the workspace's words."""

from __future__ import annotations

import errno
from collections.abc import Generator
from contextlib import contextmanager

from sqlalchemy import exc

from hipwright.domain.errors import KeepingError, WorkspaceBusyError

_BUSY = ("database is locked", "database table is locked", "lock timeout", "deadlock detected")
_FULL = ("database or disk is full", "no space left", "disk full", "quota exceeded")
_READ_ONLY = (
    "readonly database",
    "read-only",
    "unable to open database file",
    "permission denied",
)
_DAMAGED = ("malformed", "file is not a database", "disk i/o error")

FULL_NEXT = "Free some space on the disk and try again: nothing was half-written."


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
    if any(word in said for word in _BUSY):
        return WorkspaceBusyError(
            what,
            found="another program writing to the workspace",
            needed="its turn within a few seconds",
            next_step="Let the other import or save finish, then try again: nothing was lost.",
        )
    if any(word in said for word in _FULL):
        return KeepingError(what, found="a full disk", needed="free space", next_step=FULL_NEXT)
    if any(word in said for word in _READ_ONLY):
        return _read_only(what)
    if any(word in said for word in _DAMAGED):
        return KeepingError(
            what,
            found="a database that cannot be read",
            needed="a sound database",
            next_step="Run `hipwright doctor`; restore the newest backup if it finds damage.",
        )
    if isinstance(error, exc.IntegrityError):
        return KeepingError(
            what,
            found="an entry that contradicts what is kept",
            needed="ids and codes that are new, and references to what is kept",
            next_step="Look at what is kept now and try again.",
        )
    return KeepingError(
        what,
        found=f"a failure of the database ({type(error.orig).__name__})",
        needed="a database that answers",
        next_step="Try again; if it stays, run `hipwright doctor`.",
    )


def from_disk(what: str, error: OSError) -> KeepingError:
    """Tell a disk's failure without the path, which can hold a name."""
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return KeepingError(what, found="a full disk", needed="free space", next_step=FULL_NEXT)
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return _read_only(what)
    return KeepingError(
        what,
        found=error.strerror or type(error).__name__,
        needed="a disk that answers",
        next_step="Check the disk and try again; nothing was half-written.",
    )


def _read_only(what: str) -> KeepingError:
    return KeepingError(
        what,
        found="a folder that cannot be written",
        needed="a workspace folder that this user may write",
        next_step="Check the folder's owner and whether its disk is read-only, "
        "or choose another with --workspace.",
    )
