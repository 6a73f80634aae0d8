"""What all routes of one server share."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.requests import HTTPConnection

from hipwright.apps.web.access.sessions import Session, Sessions
from hipwright.apps.web.access.start_links import StartLinks
from hipwright.apps.web.arriving import ArrivalTable
from hipwright.apps.web.measured_cases import MeasuredCases
from hipwright.apps.web.measured_readings import MeasuredReadings
from hipwright.apps.web.settings import WebSettings
from hipwright.apps.web.static_files import StampedFiles
from hipwright.workflows.ports import Clock, Dock

if TYPE_CHECKING:
    from hipwright.wiring import Workspace


@dataclass(kw_only=True)
class WebState:
    """The open workspace and the server's own things.

    ``announce`` prints a line where hipwright was started; ``rooms`` is what single screens
    keep for all their requests, by a name of their own.
    """

    opened: Workspace
    settings: WebSettings
    clock: Clock
    sessions: Sessions
    links: StartLinks
    static: StampedFiles
    arrivals: ArrivalTable
    announce: Callable[[str], None]
    warmed: threading.Event = field(default_factory=threading.Event)
    rooms: dict[str, Any] = field(default_factory=dict[str, Any])

    @cached_property
    def dock(self) -> Dock:
        """What reads studies and decodes pictures."""
        from hipwright.wiring import loading_dock

        return loading_dock(self.opened)

    @cached_property
    def measured(self) -> MeasuredCases:
        """Cases that have been measured lately."""
        return MeasuredCases()

    @cached_property
    def readings(self) -> MeasuredReadings:
        """What single readings measure."""
        return MeasuredReadings()

    @property
    def folder(self) -> Path:
        """The server's own folder."""
        return self.settings.folder

    def start_address(self, token: str, host: str = "127.0.0.1") -> str:
        """The start link as it is printed."""
        return f"{self.settings.address(host)}/start/{token}"


def web_state(asked: HTTPConnection) -> WebState:
    """The state of the server that was asked, for requests and sockets."""
    return asked.app.state.web


def session_of(asked: HTTPConnection) -> Session:
    """The signed-in session; the guard lets nothing else through."""
    return asked.scope["state"]["session"]
