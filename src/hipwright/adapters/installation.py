"""What is installed: Python, the packages hipwright stands on, and optional parts."""

from __future__ import annotations

import platform
import re
from collections.abc import Iterator
from importlib import metadata, util

from hipwright import __version__
from hipwright.workflows.keep_workspace import Check, note, ok, problem

_NAME = re.compile(r"[A-Za-z0-9._-]+")


def installation_checks() -> Iterator[Check]:
    """Versions, and what is missing."""
    system = f"{platform.system()} {platform.machine()}"
    yield ok(
        "installation", f"hipwright {__version__}, Python {platform.python_version()}, {system}"
    )
    missing = sorted(name for name in _needed() if not _is_installed(name))
    if missing:
        yield problem(
            "packages",
            f"missing: {', '.join(missing)}",
            "Install hipwright again into this environment.",
        )
    else:
        yield ok("packages", f"all {len(_needed())} that hipwright needs")
    yield _postgresql()
    yield _keyring()


def _needed() -> list[str]:
    lines = metadata.requires("hipwright") or []
    return [match[0] for line in lines if "extra ==" not in line and (match := _NAME.match(line))]


def _is_installed(name: str) -> bool:
    try:
        metadata.version(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def _postgresql() -> Check:
    if util.find_spec("psycopg") is not None:
        return ok("PostgreSQL", f"can be used (psycopg {metadata.version('psycopg')})")
    return note(
        "PostgreSQL",
        "cannot be used; SQLite needs nothing",
        "Where it is wanted: pip install 'hipwright[postgresql]'",
    )


def _keyring() -> Check:
    import keyring

    backend = keyring.get_keyring()
    if backend.priority >= 1:
        return ok("keyring", f"{backend.name}: new identity keys go there")
    return note("keyring", "none on this machine: identity keys go into a file of the user's own")
