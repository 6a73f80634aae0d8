"""One-time links that sign a browser in: random, single use, short-lived, in memory only."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from datetime import datetime, timedelta

from hipwright.apps.web.access.sessions import TOKEN_BYTES, digest_of

SOONEST_NEXT = timedelta(seconds=10)
"""So that nobody fills the terminal with links."""


class StartLinks:
    """Makes start links and lets each be used once."""

    def __init__(self, *, now: Callable[[], datetime], lives: timedelta) -> None:
        self._now = now
        self._lives = lives
        self._lock = threading.Lock()
        self._until: dict[str, datetime] = {}
        self._last_asked: datetime | None = None

    def make(self) -> str:
        """Make the token of a new link."""
        token = secrets.token_urlsafe(TOKEN_BYTES)
        with self._lock:
            now = self._now()
            self._until = {d: until for d, until in self._until.items() if until > now}
            self._until[digest_of(token)] = now + self._lives
        return token

    def make_on_request(self) -> str | None:
        """Make one for somebody who is not signed in, unless one was asked for just now."""
        with self._lock:
            now = self._now()
            if self._last_asked is not None and now - self._last_asked < SOONEST_NEXT:
                return None
            self._last_asked = now
        return self.make()

    def use(self, token: str) -> bool:
        """Use a link up; whether it was good."""
        with self._lock:
            until = self._until.pop(digest_of(token), None)
            return until is not None and until > self._now()
