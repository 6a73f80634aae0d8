"""How one server was started: where it listens, who may ask it, when it locks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

LOOPBACK_NAMES = frozenset({"127.0.0.1", "localhost", "::1"})
"""Hosts that never leave the machine."""

MEGABYTE = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class WebSettings:
    """Settings of one running server.

    Parameters
    ----------
    port
        Where it listens.
    secure
        Whether it speaks TLS.
    names
        The host names and addresses under which it may be asked; every other ``Host``
        is refused, so a foreign page cannot rebind its own name to this server.
    folder
        Where the server keeps sessions, uploads on their way in, and thumbnails.
    lock_after
        A session that has asked for nothing for so long is over.
    longest_session
        A session ends after so long in any case.
    upload_limit_bytes
        The most that one import may bring through the browser.
    """

    port: int
    folder: Path
    secure: bool = False
    names: frozenset[str] = LOOPBACK_NAMES
    lock_after: timedelta = timedelta(minutes=60)
    longest_session: timedelta = timedelta(hours=12)
    link_lives: timedelta = timedelta(minutes=15)
    upload_limit_bytes: int = 20_000 * MEGABYTE

    @property
    def scheme(self) -> str:
        """``http`` or ``https``."""
        return "https" if self.secure else "http"

    @property
    def cookie(self) -> str:
        """Name of the session cookie; cookies know no ports, so the name does."""
        prefix = "__Host-" if self.secure else ""
        return f"{prefix}hipwright-{self.port}"

    def address(self, host: str) -> str:
        """The address of the server under one of its names."""
        shown = f"[{host}]" if ":" in host else host
        usual = 443 if self.secure else 80
        return f"{self.scheme}://{shown}" + ("" if self.port == usual else f":{self.port}")
