"""Who is signed in. The browser holds a random token; the server keeps only its digest."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

TOKEN_BYTES = 32
REMEMBER_EVERY = timedelta(minutes=1)
"""How far the kept time of the last request may lag behind."""


@dataclass(slots=True, kw_only=True)
class Session:
    """One signed-in browser.

    ``search`` may hold a name, so it lives in memory only and never in an address.
    ``reader`` is the short code under which this browser's readings are kept.
    """

    digest: str
    csrf_token: str
    opened_at: datetime
    seen_at: datetime
    names_shown: bool = True
    reader: str = ""
    search: str = field(default="", repr=False)


def digest_of(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


class Sessions:
    """The signed-in browsers of a workspace, kept through a restart.

    Parameters
    ----------
    path
        The file that keeps them; readable by its owner only.
    now
        The time.
    idle, longest
        After how long without a request, and after how long at all, a session is over.
    """

    def __init__(
        self, path: Path, *, now: Callable[[], datetime], idle: timedelta, longest: timedelta
    ) -> None:
        self._path = path
        self._now = now
        self._idle = idle
        self._longest = longest
        self._lock = threading.Lock()
        self._kept_at: datetime | None = None
        self._sessions = {session.digest: session for session in self._read()}

    def open(self) -> tuple[str, Session]:
        """Sign a browser in; return the token for its cookie."""
        token = secrets.token_urlsafe(TOKEN_BYTES)
        now = self._now()
        session = Session(
            digest=digest_of(token),
            csrf_token=secrets.token_urlsafe(TOKEN_BYTES),
            opened_at=now,
            seen_at=now,
        )
        with self._lock:
            self._sessions = {d: s for d, s in self._sessions.items() if self._left(s) > _NONE}
            self._sessions[session.digest] = session
            self._keep()
        return token, session

    def find(self, token: str | None) -> Session | None:
        """The session of a token, unless it is over."""
        session = self._sessions.get(digest_of(token)) if token else None
        if session is None:
            return None
        if self._left(session) <= _NONE:
            self.close(session)
            return None
        return session

    def touch(self, session: Session) -> None:
        """Somebody is there."""
        session.seen_at = self._now()
        if self._kept_at is None or session.seen_at - self._kept_at > REMEMBER_EVERY:
            self.keep()

    def left(self, session: Session) -> timedelta:
        """How long the session lasts if nobody asks for anything."""
        return max(self._left(session), _NONE)

    def keep(self) -> None:
        """Write what has changed about a session."""
        with self._lock:
            self._keep()

    def close(self, session: Session) -> None:
        """Sign a browser out."""
        with self._lock:
            self._sessions.pop(session.digest, None)
            self._keep()

    def _left(self, session: Session) -> timedelta:
        now = self._now()
        return min(
            session.seen_at + self._idle - now,
            session.opened_at + self._longest - now,
        )

    def _keep(self) -> None:
        rows = [_row(session) for session in self._sessions.values()]
        self._path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        part = self._path.with_suffix(f".{secrets.token_hex(4)}.part")
        descriptor = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump(rows, file)
        part.replace(self._path)
        self._kept_at = self._now()

    def _read(self) -> list[Session]:
        try:
            rows = json.loads(self._path.read_text("utf-8"))
            return [_session(row) for row in rows]
        except (FileNotFoundError, ValueError, KeyError, TypeError):
            return []  # nobody is signed in: a new start link signs in again


_NONE = timedelta(0)


def _row(session: Session) -> dict[str, Any]:
    return {
        "digest": session.digest,
        "csrf_token": session.csrf_token,
        "opened_at": session.opened_at.isoformat(),
        "seen_at": session.seen_at.isoformat(),
        "names_shown": session.names_shown,
        "reader": session.reader,
    }


def _session(row: dict[str, Any]) -> Session:
    return Session(
        digest=str(row["digest"]),
        csrf_token=str(row["csrf_token"]),
        opened_at=datetime.fromisoformat(row["opened_at"]),
        seen_at=datetime.fromisoformat(row["seen_at"]),
        names_shown=bool(row["names_shown"]),
        reader=str(row["reader"]),
    )
