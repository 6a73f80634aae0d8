"""A running server with one invented person and a drawn film, for tests of the Films screen."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import uvicorn
from numpy.typing import NDArray
from playwright.sync_api import BrowserContext

from hipwright.adapters.pictures.reading import stored_png
from hipwright.apps.web.server import create_app
from hipwright.apps.web.settings import WebSettings
from hipwright.domain.keeping import Case, Image, ImageKind, Laterality, Person, Study
from hipwright.domain.side import Side
from hipwright.domain.study import Calibration, Posture, SpacingSource, View
from hipwright.wiring import SystemClock, Workspace, open_workspace

COLUMNS, ROWS = 1500, 1200
HEADS = {Side.RIGHT: (430.0, 560.0), Side.LEFT: (1070.0, 552.0)}
"""Centers of the drawn heads: the patient's right is at the left of the picture."""

HEAD_RADIUS = 92.0


def drawn_film(columns: int = COLUMNS, rows: int = ROWS) -> NDArray[np.uint16]:
    """Two discs for heads under two roofs, with grain: enough to snap to, nothing to diagnose."""
    scale = columns / COLUMNS
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) / np.float32(scale)
    film = 900 + 500 * np.exp(-(((x - 750) / 620) ** 4) - ((y - 640) / 560) ** 4)
    for cx, cy in HEADS.values():
        away = np.hypot(x - cx, y - cy)
        film += 550 * (1 - np.tanh((away - HEAD_RADIUS) / 2.4))
        roof = (np.abs(away - 112) < 7) & (y < cy - 30)
        film += 700 * roof
    grain = np.random.default_rng(20_260_914).normal(0, 18, film.shape)
    return np.clip(film + grain, 0, 4095).astype(np.uint16)


@dataclass(frozen=True, kw_only=True)
class FilmsHouse:
    """What a test needs: where it runs, how to get in, what is kept."""

    address: str
    app: object
    opened: Workspace
    film: Image
    second: Image
    case: Case

    def enter(self, context: BrowserContext) -> None:
        """Sign a browser in by a start link."""
        state = self.app.state.web  # pyright: ignore[reportAttributeAccessIssue] - FastAPI's own
        page = context.new_page()
        page.goto(f"{self.address}/start/{state.links.make()}")
        page.close()

    @property
    def film_address(self) -> str:
        """The page of the film."""
        return f"{self.address}/films/{self.film.id}?case={self.case.code}"


@contextmanager
def open_house(
    folder: Path, content: bytes | None = None, size: tuple[int, int] = (COLUMNS, ROWS)
) -> Iterator[FilmsHouse]:
    """Serve a new workspace until the block ends."""
    with open_workspace(folder / "workspace", create=True) as opened:
        case, films = _fill(opened, content, size)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        settings = WebSettings(port=port, folder=folder / "server")
        app = create_app(opened, settings, clock=SystemClock(), announce=lambda _line: None)
        config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", lifespan="on")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
        yield FilmsHouse(
            address=f"http://127.0.0.1:{port}",
            app=app,
            opened=opened,
            film=films[0],
            second=films[1],
            case=case,
        )
        server.should_exit = True
        thread.join(timeout=10)


def _fill(
    opened: Workspace, content: bytes | None, size: tuple[int, int]
) -> tuple[Case, list[Image]]:
    keeper = opened.keeper
    person = Person(
        id=keeper.new_id(), sex="F", birth_date_shifted=date(1999, 4, 2), invented=True
    )
    keeper.add_person(person)
    case = Case(
        id=keeper.new_id(),
        code=keeper.new_code(),
        person=person.id,
        side=Side.LEFT,
        summary="Invented for a test",
        opened_at=datetime.now(UTC),
        invented=True,
    )
    keeper.add_case(case)
    study = Study(
        id=keeper.new_id(), person=person.id, acquired_on=date(2025, 3, 3), label="Films"
    )
    keeper.add_study(study)
    digest = keeper.put_file(content or stored_png(drawn_film()))
    films = [
        _film(keeper.new_id(), study, view, laterality, digest, size)
        for view, laterality in (
            (View.PELVIS_AP, Laterality.BOTH),
            (View.DUNN_45, Laterality.LEFT),
        )
    ]
    for film in films:
        keeper.add_image(film)
    return case, films


def _film(
    image: str,
    study: Study,
    view: View,
    laterality: Laterality,
    digest: str,
    size: tuple[int, int],
) -> Image:
    return Image(
        id=image,
        study=study.id,
        person=study.person,
        kind=ImageKind.FILM,
        modality="DX",
        view=view,
        laterality=laterality,
        posture=Posture.STANDING,
        calibration=Calibration(
            column_mm=0.25,
            row_mm=0.25,
            source=SpacingSource.ASSUMED,
            relative_sd=0.025,
            note="Invented for a test.",
        ),
        columns=size[0],
        rows=size[1],
        files=(digest,),
        acquired_on=date(2025, 3, 3),
    )
