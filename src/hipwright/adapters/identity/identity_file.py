"""The identity store's SQLite file. Everything in it is sealed, digested or an id."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Generator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from hipwright.domain.errors import IdentityError

LAYOUT = 1
_BUSY_TIMEOUT_S = 5.0

_TABLES = {
    "fact": "name TEXT PRIMARY KEY, value TEXT NOT NULL",
    "identity_version": "id TEXT PRIMARY KEY, person TEXT NOT NULL, version INTEGER NOT NULL, "
    "recorded_at TEXT NOT NULL, origin TEXT NOT NULL, sealed BLOB NOT NULL, "
    "UNIQUE (person, version)",
    "number_digest": "digest BLOB NOT NULL, person TEXT NOT NULL, PRIMARY KEY (digest, person)",
    "date_shift": "person TEXT PRIMARY KEY, sealed BLOB NOT NULL",
}


class IdentityFile:
    """Opens the file for one reading or writing at a time."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def make(self, facts: dict[str, str]) -> None:
        """Make the tables and enter the facts, unless somebody was faster."""
        with suppress(FileExistsError):
            os.close(os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        with self.writing() as connection:
            if connection.execute("PRAGMA user_version").fetchone()[0] != 0:
                return
            for name, columns in _TABLES.items():
                connection.execute(f"CREATE TABLE {name} ({columns}) STRICT")
                for verb in ("UPDATE", "DELETE"):
                    connection.execute(
                        f"CREATE TRIGGER {name}_no_{verb.lower()} BEFORE {verb} ON {name} "
                        "BEGIN SELECT RAISE(ABORT, 'hipwright: history is append-only'); END"
                    )
            connection.executemany("INSERT INTO fact VALUES (?, ?)", facts.items())
            connection.execute(f"PRAGMA user_version = {LAYOUT}")

    def is_made(self) -> bool:
        """Whether the tables are there."""
        if not self.path.is_file() or self.path.stat().st_size == 0:
            return False
        with self.reading() as connection:
            layout = connection.execute("PRAGMA user_version").fetchone()[0]
        if layout > LAYOUT:
            raise IdentityError(
                "cannot open the identity store",
                found=f"layout {layout}, made by a newer hipwright",
                needed=f"layout {LAYOUT} or older",
                next_step="Update hipwright on this machine; nothing was changed.",
            )
        return layout > 0

    def facts(self) -> dict[str, str]:
        """What the store remembers of itself."""
        with self.reading() as connection:
            return dict(connection.execute("SELECT name, value FROM fact").fetchall())

    @contextmanager
    def reading(self) -> Generator[sqlite3.Connection]:
        """Read one consistent state."""
        with self._connection("cannot read the identity store") as connection:
            connection.execute("BEGIN")
            yield connection
            connection.execute("COMMIT")

    @contextmanager
    def writing(self) -> Generator[sqlite3.Connection]:
        """Write all or nothing; it is on the disk when this is left."""
        with self._connection("cannot write to the identity store") as connection:
            connection.execute("BEGIN IMMEDIATE")
            yield connection
            connection.execute("COMMIT")

    @contextmanager
    def _connection(self, what: str) -> Generator[sqlite3.Connection]:
        try:
            connection = sqlite3.connect(self.path, timeout=_BUSY_TIMEOUT_S, isolation_level=None)
            with closing(connection):  # closing rolls back what was not committed
                connection.execute("PRAGMA journal_mode = WAL")
                connection.execute("PRAGMA synchronous = FULL")
                connection.execute("PRAGMA recursive_triggers = ON")
                yield connection
        except sqlite3.Error as error:
            raise _told(what, error) from error


def _told(what: str, error: sqlite3.Error) -> IdentityError:
    said = str(error).lower()
    if "locked" in said:
        found, needed = "another program writing to it", "its turn within a few seconds"
        next_step = "Let the other finish, then try again: nothing was lost."
    elif "full" in said:
        found, needed = "a full disk", "free space"
        next_step = "Free some space on the disk and try again: nothing was half-written."
    elif "readonly" in said or "unable to open" in said:
        found, needed = "a file that cannot be written", "a folder that this user may write"
        next_step = "Check the folder's owner and whether its disk is read-only."
    else:
        found, needed = "a file that cannot be read", "a sound file"
        next_step = "Run `hipwright doctor`; restore the newest backup if it finds damage."
    return IdentityError(what, found=found, needed=needed, next_step=next_step)
