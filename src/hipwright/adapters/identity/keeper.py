"""The encrypted store of who is who, on one file and one key."""

from __future__ import annotations

import json
import secrets
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import date, datetime, timedelta
from pathlib import Path

from uuid_utils.compat import uuid7

from hipwright.adapters.identity.identity_file import IdentityFile
from hipwright.adapters.identity.key_places import KeyPlace, find_key, keep_key
from hipwright.adapters.identity.seals import IdentityKey, Seals, plain_number
from hipwright.domain.errors import IdentityError
from hipwright.domain.keeping import Identity

EARLIEST_SHIFT_DAYS = -3650
LATEST_SHIFT_DAYS = -30
"""Dates move back by a month to ten years, never into the future or by nothing (judgment)."""


class EncryptedIdentityKeeper:
    """What ``workflows.ports.IdentityKeeper`` asks for."""

    def __init__(
        self,
        file: IdentityFile,
        key: IdentityKey,
        *,
        device: str,
        now: Callable[[], datetime],
    ) -> None:
        self.key = key
        self._file = file
        self._seals = Seals(key)
        self._device = device
        self._now = now
        self._shifts: dict[str, int] = {}

    def save(self, identity: Identity) -> None:
        """Keep who a person is; a change is a further version.

        Raises
        ------
        IdentityError
            Another person has one of the numbers.
        """
        with self._file.writing() as connection:
            version, kept = self._newest(connection, identity.person)
            if kept == identity:
                return
            for number in identity.numbers:
                owner = self._owner(connection, number)
                if owner not in {None, identity.person}:
                    raise _taken()
                row = (self._seals.digest(number), identity.person)
                connection.execute("INSERT OR IGNORE INTO number_digest VALUES (?, ?)", row)
            version += 1
            sealed = self._seals.seal(_to_json(identity), about=_about(identity.person, version))
            connection.execute(
                "INSERT INTO identity_version VALUES (?, ?, ?, ?, ?, ?)",
                (
                    str(uuid7()),
                    identity.person,
                    version,
                    self._now().isoformat(),
                    self._device,
                    sealed,
                ),
            )

    def of(self, person: str) -> Identity | None:
        """Tell who a person is."""
        with self._file.reading() as connection:
            return self._newest(connection, person)[1]

    def everybody(self) -> dict[str, Identity]:
        """Tell who everybody is, for lists."""
        with self._file.reading() as connection:
            people = connection.execute("SELECT DISTINCT person FROM identity_version").fetchall()
            found = {person: self._newest(connection, person)[1] for (person,) in people}
        return {person: identity for person, identity in found.items() if identity is not None}

    def find(self, *, number: str) -> str | None:
        """Find the person that has a patient number now."""
        with self._file.reading() as connection:
            return self._owner(connection, number)

    def date_shift_days(self, person: str) -> int:
        """The one shift of all dates of a person, made at first use."""
        if person not in self._shifts:
            self._shifts[person] = self._shift(person)
        return self._shifts[person]

    def remapped_uid(self, original: str) -> str:
        """The UID that stands for an original one in this workspace."""
        return self._seals.uid(original)

    def true_date(self, person: str, shifted: date) -> date:
        """Undo the shift."""
        return shifted - timedelta(days=self.date_shift_days(person))

    def damaged(self) -> int:
        """Count the records that the key does not open."""
        bad = 0
        with self._file.reading() as connection:
            rows = connection.execute("SELECT person, version, sealed FROM identity_version")
            sealed = [(blob, _about(person, version)) for person, version, blob in rows]
            rows = connection.execute("SELECT person, sealed FROM date_shift")
            sealed += [(blob, _shift_about(person)) for person, blob in rows]
        for blob, about in sealed:
            try:
                self._seals.open(blob, about=about)
            except IdentityError:
                bad += 1
        return bad

    def _shift(self, person: str) -> int:
        about = _shift_about(person)
        with self._file.writing() as connection:
            query = "SELECT sealed FROM date_shift WHERE person = ?"
            row = connection.execute(query, (person,)).fetchone()
            if row is not None:
                return int(self._seals.open(row[0], about=about))
            choices = LATEST_SHIFT_DAYS - EARLIEST_SHIFT_DAYS + 1
            days = EARLIEST_SHIFT_DAYS + secrets.randbelow(choices)
            sealed = self._seals.seal(str(days).encode(), about=about)
            connection.execute("INSERT INTO date_shift VALUES (?, ?)", (person, sealed))
            return days

    def _newest(self, connection: sqlite3.Connection, person: str) -> tuple[int, Identity | None]:
        query = (
            "SELECT version, sealed FROM identity_version WHERE person = ? "
            "ORDER BY version DESC LIMIT 1"
        )
        row = connection.execute(query, (person,)).fetchone()
        if row is None:
            return 0, None
        version, sealed = row
        return version, _from_json(self._seals.open(sealed, about=_about(person, version)))

    def _owner(self, connection: sqlite3.Connection, number: str) -> str | None:
        query = "SELECT person FROM number_digest WHERE digest = ?"
        wanted = plain_number(number)
        for (person,) in connection.execute(query, (self._seals.digest(number),)).fetchall():
            identity = self._newest(connection, person)[1]
            if identity and wanted in {plain_number(kept) for kept in identity.numbers}:
                return person  # digests of corrected numbers stay, but no longer count
        return None


def open_identity(
    path: Path,
    places: Sequence[KeyPlace],
    *,
    workspace: str,
    device: str,
    now: Callable[[], datetime],
) -> EncryptedIdentityKeeper:
    """Open a workspace's identity store, made with a new key at first use.

    Parameters
    ----------
    places
        Where keys are looked for, first to last; a new one goes to the last that takes it.

    Raises
    ------
    IdentityError
        The key is missing, or the store belongs to another workspace or a newer hipwright.
    """
    file = IdentityFile(path)
    if not file.is_made():
        key = IdentityKey.make()
        keep_key(places, key)  # first the key: a store without one could never be opened
        file.make({"workspace": workspace, "key": key.id, "made_at": now().isoformat()})
    facts = file.facts()
    if facts["workspace"] != workspace:
        raise IdentityError(
            "cannot open the identity store",
            found="the store of another workspace",
            needed="the one that was made with this workspace",
            next_step="Put the right identity.db back, or restore the newest backup.",
        )
    key = find_key(places, facts["key"])
    return EncryptedIdentityKeeper(file, key, device=device, now=now)


def _about(person: str, version: int) -> str:
    return f"identity {person} {version}"


def _shift_about(person: str) -> str:
    return f"shift {person}"


def _to_json(identity: Identity) -> bytes:
    return json.dumps(asdict(identity), default=date.isoformat, ensure_ascii=False).encode()


def _from_json(plain: bytes) -> Identity:
    kept = json.loads(plain)
    born = kept["birth_date"]
    return Identity(
        person=kept["person"],
        name=kept["name"],
        numbers=tuple(kept["numbers"]),
        birth_date=date.fromisoformat(born) if born else None,
        sex=kept["sex"],
        note=kept["note"],
    )


def _taken() -> IdentityError:
    return IdentityError(
        "cannot keep the identity",
        found="another person with one of these numbers",
        needed="numbers that belong to one person",
        next_step="Check whether the two are one person; else leave the number out.",
        field="numbers",
    )
