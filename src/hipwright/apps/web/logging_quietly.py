"""What the server notes: codes and ids, never who a person is."""

from __future__ import annotations

import logging
import time
from http import HTTPStatus

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hipwright.apps.web.showing.refusals import told

LOG = logging.getLogger("hipwright.web")


class QuietLog:
    """One line a request: method, path without query, status, milliseconds.

    Paths hold case codes and ids only; what people search for is never in an address.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on and note how it went."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        begun = time.perf_counter()
        status = 0

        async def noted(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self._app(scope, receive, noted)
        finally:
            path = "/start/…" if scope["path"].startswith("/start/") else scope["path"]
            taken_ms = 1000 * (time.perf_counter() - begun)
            LOG.info("%s %s %d %.0f ms", scope["method"], path, status, taken_ms)


class Unexpected:
    """Turns a defect into a kind page; its message can hold a patient's values and stays here."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on and catch."""
        begun = False

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] in {"http.response.start", "websocket.accept"}
            await send(message)

        try:
            await self._app(scope, receive, watched)
        except Exception as error:
            LOG.error("unexpected %s", _where(error))  # noqa: TRY400 - its message stays here
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1011})
            elif not begun:
                answer = told(
                    Request(scope),
                    HTTPStatus.INTERNAL_SERVER_ERROR,
                    code="unexpected",
                    message=f"Something went wrong inside hipwright ({type(error).__name__}).",
                    help_text="What was saved before is safe. Try again; `hipwright doctor` "
                    "checks the workspace.",
                )
                await answer(scope, receive, send)


def _where(error: Exception) -> str:
    """The error's kind and the lines it came through, without its message."""
    lines: list[str] = []
    trace = error.__traceback__
    while trace is not None:
        code = trace.tb_frame.f_code
        if "hipwright" in code.co_filename:
            lines.append(f"{code.co_filename.rpartition('hipwright/')[2]}:{trace.tb_lineno}")
        trace = trace.tb_next
    return f"{type(error).__name__} at {' > '.join(lines[-6:])}"
