"""The switchboard: the one place that hands adapters to workflows.

Adapters are imported where they are used, so that a command pays only for its own.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from hipwright import __version__

if TYPE_CHECKING:
    from hipwright.adapters.identity.keeper import EncryptedIdentityKeeper
    from hipwright.adapters.identity.key_places import KeyPlace
    from hipwright.adapters.store.keeper import DatabaseKeeper

SOFTWARE = f"hipwright {__version__}"


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
    import platformdirs  # noqa: PLC0415 - not needed by commands without a workspace

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


class Workspace:
    """An open workspace: its keeper, and its identity store where somebody asks for it."""

    def __init__(self, where: Places, keeper: DatabaseKeeper, now: Callable[[], datetime]) -> None:
        self.where = where
        self.keeper = keeper
        self._now = now

    @property
    def folder(self) -> Path:
        """The workspace's folder."""
        return self.where.workspace

    @cached_property
    def identity(self) -> EncryptedIdentityKeeper:
        """Who is who; made with a new key at first use.

        Raises
        ------
        IdentityError
            The key is missing or belongs to another workspace.
        """
        from hipwright.adapters.identity.keeper import open_identity  # noqa: PLC0415
        from hipwright.adapters.store.workspace_folder import IDENTITY  # noqa: PLC0415

        return open_identity(
            self.folder / IDENTITY,
            key_places(self.where),
            workspace=self.keeper.workspace,
            device=self.keeper.device,
            now=self._now,
        )

    def close(self) -> None:
        """Let go of the database."""
        self.keeper.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_workspace(
    workspace: Path | None = None,
    *,
    create: bool = False,
    by: str = "human:local",
    database_url: str | None = None,
    busy_timeout_s: float = 5.0,
) -> Workspace:
    """Open the workspace; with ``create`` it is made where there is none.

    Parameters
    ----------
    workspace
        Its folder; left out, ``HIPWRIGHT_WORKSPACE`` or the user's data folder.
    by
        Who changes things, where a transaction does not say.
    database_url
        A PostgreSQL database; left out, ``HIPWRIGHT_DATABASE_URL`` or the folder's own.

    Raises
    ------
    KeepingError
        It cannot be opened or made; the message says what to do.
    """
    from hipwright.adapters.store.device import device_id  # noqa: PLC0415 - see above
    from hipwright.adapters.store.workspace_folder import Opening, open_folder  # noqa: PLC0415

    where = places(workspace, database_url=database_url)
    clock = SystemClock()
    opening = Opening(
        device=device_id(where.config / "device"),
        by=by,
        software=SOFTWARE,
        now=clock.now,
        busy_timeout_s=busy_timeout_s,
    )
    keeper = open_folder(where.workspace, opening, create=create, database_url=where.database_url)
    return Workspace(where, keeper, clock.now)


def key_places(where: Places) -> list[KeyPlace]:
    """Where identity keys are looked for; new ones go to the last that takes them."""
    from hipwright.adapters.identity.key_places import KeyFile, SystemKeyring  # noqa: PLC0415

    if where.key_file is not None:
        return [KeyFile(where.key_file)]
    return [KeyFile(where.config / "identity-keys"), SystemKeyring()]
