"""Who reads: a short code of the reader's choice, kept in this browser."""

from __future__ import annotations

import re

from fastapi import Response
from starlette.requests import HTTPConnection

READER_COOKIE = "hipwright-reader"
READER_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,11}")
"""Such as initials: letters, digits, hyphens."""

A_YEAR_S = 365 * 24 * 3600


def observer_of(asked: HTTPConnection) -> str | None:
    """Who reads in this browser, such as ``human:AB``; ``None`` before a code is chosen."""
    code = asked.cookies.get(READER_COOKIE, "")
    return f"human:{code}" if READER_CODE.fullmatch(code) else None


def remember_reader(response: Response, code: str, *, secure: bool) -> None:
    """Keep the code in this browser."""
    response.set_cookie(
        READER_COOKIE, code, max_age=A_YEAR_S, httponly=True, samesite="lax", secure=secure
    )
