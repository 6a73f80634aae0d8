"""The machine hipwright runs on: its time, and where things lie on it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path


class SystemClock:
    """The machine's time, in UTC."""

    def now(self) -> datetime:
        """Tell the time."""
        return datetime.now(UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where things lie on this machine.

    Parameters
    ----------
    workspace
        The workspace's folder.
    database_url
        A PostgreSQL database that takes the place of the folder's own.
    config
        The user's folder for what belongs to this machine: its id, identity keys.
    key_file
        A file that is the only place for identity keys, where one is named.
    """

    workspace: Path
    config: Path
    database_url: str | None = None
    key_file: Path | None = None


def places(workspace: Path | None = None, *, database_url: str | None = None) -> Places:
    """Where things lie, from ``HIPWRIGHT_…`` variables and the user's own folders."""
    import platformdirs

    def named(variable: str) -> Path | None:
        value = os.environ.get(variable)
        return Path(value).expanduser() if value else None

    data = named("HIPWRIGHT_WORKSPACE")
    return Places(
        workspace=workspace
        or data
        or platformdirs.user_data_path("hipwright", appauthor=False) / "workspace",
        config=named("HIPWRIGHT_CONFIG")
        or platformdirs.user_config_path("hipwright", appauthor=False),
        database_url=database_url or os.environ.get("HIPWRIGHT_DATABASE_URL") or None,
        key_file=named("HIPWRIGHT_KEY_FILE"),
    )
