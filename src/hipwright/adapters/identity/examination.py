"""Looking the identity store over: is the key here, does it open every record."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path

from hipwright.adapters.identity.identity_file import IdentityFile
from hipwright.adapters.identity.keeper import open_identity
from hipwright.adapters.identity.key_places import KeyFile, KeyPlace
from hipwright.workflows.keep_workspace import Check, ok, problem


def identity_checks(
    path: Path,
    places: Sequence[KeyPlace],
    *,
    workspace: str,
    device: str,
    now: Callable[[], datetime],
) -> Iterator[Check]:
    """The store, its key, its records, and who may read the key."""
    yield from _key_file_checks(places)
    if not IdentityFile(path).is_made():
        yield ok("identity", "none kept yet")
        return
    keeper = open_identity(path, places, workspace=workspace, device=device, now=now)
    damaged = keeper.damaged()
    if damaged:
        yield problem(
            "identity",
            f"{damaged} records that the key does not open",
            "Restore the newest backup into a new folder.",
        )
    else:
        yield ok("identity", f"key {keeper.key.id} is here and opens every record")


def _key_file_checks(places: Sequence[KeyPlace]) -> Iterator[Check]:
    for place in places:
        if isinstance(place, KeyFile) and not place.is_private():
            yield problem(
                "identity key",
                "other users of this machine may read the key file",
                f"Close it: chmod 600 {place.path}",
            )
