"""The socket behind the numbers: landmarks in, findings out, newest message only."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

from fastapi import WebSocket, WebSocketDisconnect
from pydantic import ValidationError

from hipwright.apps.web.films.messages import Moved
from hipwright.apps.web.films.working import WorkingReading
from hipwright.domain.errors import HipwrightError

PAUSE_S = 0.25
"""Nothing has moved for so long: time to look at everything once more."""


class Mailbox:
    """Holds what has come in and was not looked at yet, as one message."""

    def __init__(self) -> None:
        self._waiting: Moved | None = None
        self._rings = asyncio.Event()
        self._closed = False

    def put(self, moved: Moved) -> None:
        """Add a message; what waits already is merged with it."""
        self._waiting = moved if self._waiting is None else self._waiting.then(moved)
        self._rings.set()

    def close(self) -> None:
        """Nothing more will come."""
        self._closed = True
        self._rings.set()

    async def stays_empty(self, seconds: float) -> bool:
        """Whether nothing comes for so long."""
        try:
            await asyncio.wait_for(self._rings.wait(), seconds)
        except TimeoutError:
            return True
        return False

    async def take(self) -> Moved | None:
        """Wait for what comes next, ``None`` once the mailbox is closed."""
        await self._rings.wait()
        if self._closed:
            return None
        self._rings.clear()
        taken, self._waiting = self._waiting, None
        return taken


async def converse(socket: WebSocket, working: WorkingReading) -> None:
    """Answer until the screen goes away."""
    mailbox = Mailbox()
    listening = asyncio.create_task(_listen(socket, mailbox))
    try:
        while (moved := await mailbox.take()) is not None:
            await _answer(socket, working, mailbox, moved)
    except (WebSocketDisconnect, RuntimeError):
        return  # the screen went away while an answer was under way
    finally:
        listening.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await listening


async def _listen(socket: WebSocket, mailbox: Mailbox) -> None:
    try:
        while True:
            text = await socket.receive_text()
            try:
                moved = Moved.model_validate_json(text)
            except ValidationError:
                await socket.close(code=1008, reason="message not understood")
                return
            mailbox.put(moved)
    except (WebSocketDisconnect, RuntimeError):
        return
    finally:
        mailbox.close()


async def _answer(
    socket: WebSocket, working: WorkingReading, mailbox: Mailbox, moved: Moved
) -> None:
    try:
        if moved.all:
            working.forget_told()
        touched = working.take(moved)
        # A few milliseconds: handing it to a thread and back would take longer than it does.
        answer: dict[str, Any] = working.first_answer(touched)
        await socket.send_json({"seq": moved.seq, **answer})
        if await mailbox.stays_empty(PAUSE_S):
            rest = await asyncio.to_thread(working.rest)
            if rest is not None:
                await socket.send_json({"seq": moved.seq, **rest})
    except HipwrightError as error:
        await socket.send_json(
            {"seq": moved.seq, "error": {"code": error.code, "message": str(error)}}
        )
