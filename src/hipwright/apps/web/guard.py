"""Stands before every route, sockets included: own host, own pages, signed in, no forgery."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any
from urllib.parse import parse_qs

from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hipwright.apps.web.access.hosts import is_own_host, is_own_origin
from hipwright.apps.web.access.sessions import Session, Sessions
from hipwright.apps.web.settings import WebSettings
from hipwright.apps.web.showing.refusals import refusal_response

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN_TO_ALL = ("/static/", "/start/", "/locked", "/favicon.ico")
CSRF_HEADER = "x-csrf-token"
FORM = "application/x-www-form-urlencoded"
LONGEST_FORM = 1_000_000
NOT_TOUCHING = frozenset({"/access/left"})
"""Routes that look at a session without keeping it awake."""

SIGNED_OUT = 4401
"""Close code of a socket whose session is over."""


class Guard:
    """The middleware; what it lets through finds its session in ``scope["state"]``."""

    def __init__(self, app: ASGIApp, *, settings: WebSettings, sessions: Sessions) -> None:
        self._app = app
        self._settings = settings
        self._sessions = sessions
        self._own: dict[str, Any] = {
            "names": settings.names,
            "scheme": settings.scheme,
            "port": settings.port,
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through or refuse."""
        if scope["type"] not in {"http", "websocket"}:
            await self._app(scope, receive, send)
            return
        asked = HTTPConnection(scope)
        session = self._sessions.find(asked.cookies.get(self._settings.cookie))
        scope.setdefault("state", {})["session"] = session
        if scope["type"] == "websocket":
            await self._socket(scope, receive, send, session)
            return
        refused = self._refusal(scope, asked.headers, session)
        if refused is None and session is not None and scope["method"] not in SAFE_METHODS:
            given, receive = await _token(asked.headers, receive)
            if not secrets.compare_digest(given.encode(), session.csrf_token.encode()):
                refused = HTTPStatus.FORBIDDEN, "the form is too old or came from elsewhere"
        if refused is not None:
            await refusal_response(scope, *refused)(scope, receive, send)
            return
        if session is not None and scope["path"] not in NOT_TOUCHING:
            self._sessions.touch(session)
        await self._app(scope, receive, send)

    def _refusal(
        self, scope: Scope, headers: Mapping[str, str], session: Session | None
    ) -> tuple[HTTPStatus, str] | None:
        if not is_own_host(headers.get("host", ""), **self._own):
            return HTTPStatus.MISDIRECTED_REQUEST, "it was asked for under another name"
        if scope["method"] not in SAFE_METHODS and not self._from_own_page(headers):
            return HTTPStatus.FORBIDDEN, "the request came from another page"
        if session is None and not _is_open(scope["path"]):
            return HTTPStatus.UNAUTHORIZED, "nobody is signed in"
        return None

    def _from_own_page(self, headers: Mapping[str, str]) -> bool:
        origin = headers.get("origin")
        if origin in {None, "null"}:
            # Under our no-referrer policy browsers send "null" with forms; then only the
            # browser's own word counts, which no page can forge.
            return headers.get("sec-fetch-site") == "same-origin"
        return is_own_origin(str(origin), **self._own)

    async def _socket(
        self, scope: Scope, receive: Receive, send: Send, session: Session | None
    ) -> None:
        headers = HTTPConnection(scope).headers
        own = is_own_host(headers.get("host", ""), **self._own) and is_own_origin(
            headers.get("origin", ""), **self._own
        )
        if not own or session is None:
            await receive()
            await send({"type": "websocket.close", "code": SIGNED_OUT})
            return
        self._sessions.touch(session)

        async def awake() -> Message:
            message = await receive()
            if message["type"] == "websocket.receive":
                if self._sessions.left(session).total_seconds() <= 0:
                    return {"type": "websocket.disconnect", "code": SIGNED_OUT}
                self._sessions.touch(session)
            return message

        await self._app(scope, awake, send)


def _is_open(path: str) -> bool:
    return path.startswith(OPEN_TO_ALL)


async def _token(headers: Mapping[str, str], receive: Receive) -> tuple[str, Receive]:
    """The token from the header or from a plain form's field ``csrf``."""
    given = headers.get(CSRF_HEADER)
    if given is not None:
        return given, receive
    if not headers.get("content-type", "").startswith(FORM):
        return "", receive
    body, more = b"", True
    while more and len(body) <= LONGEST_FORM:
        message = await receive()
        body += message.get("body", b"")
        more = message.get("more_body", False)
    if more:
        return "", receive
    fields = parse_qs(body.decode("utf-8", "replace"))
    return fields.get("csrf", [""])[0], _again(body, receive)


def _again(body: bytes, receive: Receive) -> Receive:
    given = False

    async def replay() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replay
