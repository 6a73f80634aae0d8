"""Who reads: a short code of the reader's choice, kept with the session."""

from __future__ import annotations

import re

from starlette.requests import HTTPConnection

from hipwright.apps.web.state import session_of, web_state

READER_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,11}")
"""Such as initials: letters, digits, hyphens."""


def observer_of(asked: HTTPConnection) -> str | None:
    """Who reads in this session, such as ``human:AB``; ``None`` before a code is chosen."""
    code = session_of(asked).reader
    return f"human:{code}" if code else None


def remember_reader(asked: HTTPConnection, code: str) -> None:
    """From now on this session reads under that code."""
    session_of(asked).reader = code
    web_state(asked).sessions.keep()
