"""Who changes things through the browser."""

from __future__ import annotations

from starlette.requests import HTTPConnection

from hipwright.apps.web.films.reader import observer_of


def author_of(asked: HTTPConnection) -> str:
    """The session's reader, else whoever started the server."""
    return observer_of(asked) or "human:local"
