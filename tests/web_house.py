"""A running server with invented people, for tests that ask it by HTTP or in a browser."""

from __future__ import annotations

import io
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import uvicorn
from fastapi import FastAPI
from PIL import Image as Pillow
from playwright.sync_api import BrowserContext

from hipwright.apps.web.server import create_app
from hipwright.apps.web.settings import WebSettings
from hipwright.apps.web.state import WebState
from hipwright.domain.keeping import Case, Identity, Image, ImageKind, Laterality, Person, Study
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Posture, SpacingSource, View
from hipwright.wiring import Workspace, open_workspace
from hipwright.workflows.save_reading import save_reading

LONG_NAME = "Maximiliana-Theodora Example-Featherstonehaugh of the Invented Lower Meadows"
PAGE = {"Accept": "text/html"}


@dataclass
class MovedClock:
    """The machine's time, which a test can move on."""

    later: timedelta = timedelta(0)

    def now(self) -> datetime:
        return datetime.now(UTC) + self.later


@dataclass(kw_only=True)
class WebHouse:
    """What a test needs of a running server."""

    address: str
    state: WebState
    opened: Workspace
    clock: MovedClock
    app: FastAPI
    said: list[str] = field(default_factory=list)

    @contextmanager
    def client(self, *, signed_in: bool = True) -> Iterator[httpx.Client]:
        """A client that asks from one of the server's own pages."""
        with httpx.Client(base_url=self.address, headers={"Origin": self.address}) as client:
            if signed_in:
                answer = client.get(f"/start/{self.state.links.make()}")
                assert answer.status_code == 303
                session = self.state.sessions.find(client.cookies[self.state.settings.cookie])
                assert session is not None
                client.headers["X-CSRF-Token"] = session.csrf_token
            yield client

    def enter(self, context: BrowserContext) -> None:
        """Sign a browser in by a start link."""
        page = context.new_page()
        page.goto(f"{self.address}/start/{self.state.links.make()}")
        page.close()


@contextmanager
def open_house(folder: Path, **settings: Any) -> Iterator[WebHouse]:
    """Serve a new, empty workspace until the block ends."""
    with (
        open_workspace(folder / "workspace", create=True) as opened,
        socket.create_server(("127.0.0.1", 0)) as listener,
    ):
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        port = listener.getsockname()[1]
        clock, said = MovedClock(), []
        app = create_app(
            opened,
            WebSettings(port=port, folder=folder / "workspace" / "web", **settings),
            clock=clock,
            announce=said.append,
        )
        server = uvicorn.Server(
            uvicorn.Config(app, log_level="critical", timeout_graceful_shutdown=1)
        )
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        yield WebHouse(
            address=f"http://127.0.0.1:{port}",
            state=app.state.web,
            opened=opened,
            clock=clock,
            app=app,
            said=said,
        )
        server.should_exit = True
        thread.join(timeout=10)


def png(columns: int = 400, rows: int = 320) -> bytes:
    """A drawn picture of two discs."""
    y, x = np.mgrid[0:rows, 0:columns]
    near = np.minimum(
        np.hypot(x - columns * 0.28, y - rows / 2), np.hypot(x - columns * 0.72, y - rows / 2)
    )
    out = io.BytesIO()
    Pillow.fromarray(np.clip(220 - 2 * near, 0, 255).astype(np.uint8)).save(out, "PNG")
    return out.getvalue()


def add_person(
    opened: Workspace,
    *,
    name: str = "Ada Example",
    number: str = "X-1001",
    sides: tuple[Side, ...] = (Side.LEFT,),
    films: int = 2,
    read: bool = True,
    invented: bool = False,
    summary: str = "Invented for a test",
) -> list[Case]:
    """A person with cases and films, the first film read."""
    keeper = opened.keeper
    person = Person(
        id=keeper.new_id(), sex="F", birth_date_shifted=date(1990, 4, 2), invented=invented
    )
    keeper.add_person(person)
    if name:
        opened.identity.save(
            Identity(
                person=person.id,
                name=name,
                numbers=(number,) if number else (),
                birth_date=date(1992, 4, 2),
                sex="F",
            )
        )
    cases = [_case(opened, person, side, summary, invented=invented) for side in sides]
    study = Study(id=keeper.new_id(), person=person.id, acquired_on=date(2020, 3, 3), label="Hip")
    keeper.add_study(study)
    views = [View.PELVIS_AP, View.DUNN_45, View.FALSE_PROFILE][:films]
    images = [film(opened, study, view, sides[0]) for view in views]
    if read and images:
        save_reading(keeper, cases[0], images[0], landmarks(images[0]))
    return cases


def _case(opened: Workspace, person: Person, side: Side, summary: str, *, invented: bool) -> Case:
    case = Case(
        id=opened.keeper.new_id(),
        code=opened.keeper.new_code(),
        person=person.id,
        side=side,
        summary=summary,
        opened_at=datetime.now(UTC),
        invented=invented,
    )
    opened.keeper.add_case(case)
    return case


def film(opened: Workspace, study: Study, view: View, side: Side) -> Image:
    """One kept film."""
    image = Image(
        id=opened.keeper.new_id(),
        study=study.id,
        person=study.person,
        kind=ImageKind.FILM,
        modality="DX",
        view=view,
        laterality=Laterality.BOTH if view.shows_both_hips else Laterality(side.value),
        posture=Posture.STANDING,
        calibration=Calibration(
            column_mm=1.0, row_mm=1.0, source=SpacingSource.ASSUMED, relative_sd=0.025
        ),
        columns=400,
        rows=320,
        files=(opened.keeper.put_file(png()),),
        acquired_on=study.acquired_on,
    )
    opened.keeper.add_image(image)
    return image


def landmarks(image: Image, observer: str = "human:AB", reading: int = 1) -> LandmarkSet:
    """Both heads and both lateral ends of the sourcil."""
    turns = np.linspace(0, 2 * np.pi, 9)[:-1]
    contours, points = [], []
    for side, x in ((Side.RIGHT, 112.0), (Side.LEFT, 288.0)):
        around = np.column_stack([x + 24 * np.cos(turns), 160 + 24 * np.sin(turns)])
        contours.append(PlacedContour(id="femoral_head", side=side, xy_px=around))
        outward = -1 if side is Side.RIGHT else 1
        points.append(
            PlacedPoint(id="sourcil_lateral_edge", side=side, x_px=x + outward * 14, y_px=132)
        )
    return LandmarkSet(
        image=image.id,
        observer=observer,
        reading=reading,
        points=tuple(points),
        contours=tuple(contours),
    )
