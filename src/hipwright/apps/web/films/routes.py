"""Addresses of the Films screen: the page, its pictures and its socket."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response, WebSocket
from fastapi.responses import JSONResponse

from hipwright.apps.web.films import screen
from hipwright.apps.web.films.desk import (
    case_of,
    film_of,
    keeper_of,
    require_file,
    shelf_of,
)
from hipwright.apps.web.films.live import converse
from hipwright.apps.web.films.messages import Moved, items_of
from hipwright.apps.web.films.opening import HUMAN, ReaderKeeper, opened_film, reader_to_go_on
from hipwright.apps.web.films.reader import observer_of, remember_reader
from hipwright.apps.web.films.times import FilmTimes
from hipwright.apps.web.films.working import WorkingReading
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.static_files import FOLDER
from hipwright.catalog import load
from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping import Image, Reading
from hipwright.workflows.measure_hip import newest_reading
from hipwright.workflows.ports import Keeper
from hipwright.workflows.reading_doubt import circumstances_of, sex_of

router = APIRouter()

FOREVER = "private, max-age=31536000, immutable"
"""Addresses of pixels hold their digest, so what they give never changes."""

MODULES = tuple(
    f"js/{path.relative_to(FOLDER / 'js').as_posix()}"
    for folder in ("lib", "components/film-view", "films")
    for path in sorted((FOLDER / "js" / folder).glob("*.js"))
)
"""All scripts of the screen, so that the browser need not find them one by one."""

NOBODY = "human:unnamed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the address of a film asks for."""

    case: str | None = None
    reading: int | None = None
    beside: str | None = None


@router.get("/films/{image}")
async def show(
    request: Request,
    image: str,
    case: str | None = None,
    reading: int | None = None,
    beside: str | None = None,
) -> Response:
    """The screen of one film."""
    keeper, shelf = keeper_of(request), shelf_of(request)
    film = await asyncio.to_thread(film_of, keeper, image)
    # The browser will ask for the picture next: decoding starts while it reads the page.
    warming = asyncio.get_running_loop().run_in_executor(None, shelf.get, film.files[0])
    warming.add_done_callback(lambda done: done.exception())
    asked = Asked(case=case, reading=reading, beside=beside)
    facts = await asyncio.to_thread(_page_facts, request, keeper, film, asked)
    return render(request, "films/film.html", here="Films", **facts)


def _page_facts(
    request: Request, keeper: ReaderKeeper, film: Image, asked: Asked
) -> dict[str, Any]:
    observer = _reader(request, keeper, film)
    times = FilmTimes.seen_by(request, keeper, film)
    case = case_of(keeper, film, asked.case)
    kept = keeper.readings_of(film.id)
    opened = opened_film(kept, observer, asked.reading)
    others = [i for i in screen.films_of(keeper.images_of(film.person)) if i.id != film.id]
    facts = screen.film_facts(film, case, load(), sex=sex_of(keeper, film)) | {
        "observer": observer,
        "reading": opened.number,
        "current": _with_items(opened.own),
        "lookedAt": _with_items(opened.looked_at),
        "readings": [screen.reading_facts(r) for r in kept],
        "others": [{"image": i.id, "name": screen.film_name(i, times.of(i))} for i in others],
        "beside": asked.beside if asked.beside in {i.id for i in others} else None,
    }
    return {
        "film": film,
        "film_name": screen.film_name(film, times.of(film)),
        "case": case,
        "observer": observer,
        "looked_at": opened.looked_at,
        "others": others,
        "details": screen.details(film, times.of(film)),
        "modules": MODULES,
        "facts": facts,
        "preview": f"/films/{film.id}/preview/{film.files[0]}.jpg",
        "pixels": f"/films/{film.id}/pixels/{film.files[0]}",
    }


def _reader(request: Request, keeper: ReaderKeeper, film: Image) -> str | None:
    """Who reads: as chosen, else as goes without saying in this workspace."""
    observer = observer_of(request)
    if observer is None and (known := reader_to_go_on(keeper, film)) is not None:
        remember_reader(request, known.removeprefix(HUMAN))
        return known
    return observer


def _with_items(reading: Reading | None) -> dict[str, Any] | None:
    return None if reading is None else screen.reading_with_items(reading)


@router.get("/films/{image}/preview/{sha256}.jpg")
async def preview(request: Request, image: str, sha256: str) -> Response:
    """The film in 8 bits through its own window, small enough to be there at once."""
    await asyncio.to_thread(require_file, keeper_of(request), image, sha256)
    shown = await asyncio.to_thread(shelf_of(request).get, sha256)
    return Response(shown.preview, media_type="image/jpeg", headers=_cached(sha256))


@router.get("/films/{image}/pixels/{sha256}")
async def pixels(request: Request, image: str, sha256: str) -> Response:
    """Rows of uint16, little-endian, top to bottom; not compressed, that would take longer."""
    await asyncio.to_thread(require_file, keeper_of(request), image, sha256)
    if request.headers.get("if-none-match") == f'"{sha256}"':
        return Response(status_code=304, headers=_cached(sha256))
    picture = (await asyncio.to_thread(shelf_of(request).get, sha256)).picture
    rows, columns = picture.pixels.shape
    headers = _cached(sha256) | {
        "Film-Columns": str(columns),
        "Film-Rows": str(rows),
        "Film-Window": f"{picture.window_center} {picture.window_width}",
    }
    body = picture.pixels.astype("<u2", copy=False).tobytes()
    return Response(body, media_type="application/octet-stream", headers=headers)


def _cached(sha256: str) -> dict[str, str]:
    return {"Cache-Control": FOREVER, "ETag": f'"{sha256}"'}


@router.get("/films/{image}/beside")
async def beside(request: Request, image: str) -> Response:
    """What the second picture of a pair needs: the film and its newest reading."""
    keeper = keeper_of(request)
    film = await asyncio.to_thread(film_of, keeper, image)
    return JSONResponse(await asyncio.to_thread(_beside, request, keeper, film))


def _beside(request: Request, keeper: Keeper, film: Image) -> dict[str, Any]:
    reading = newest_reading(keeper, film.id, None)
    items = [] if reading is None else items_of(reading.landmarks)
    reader = NOBODY if reading is None else reading.landmarks.observer
    given = circumstances_of(keeper, film, reader)
    working = WorkingReading(film, reader, circumstances=given)
    touched = working.take(Moved(seq=0, items=tuple(items), all=True))
    answer = working.first_answer(touched)
    times = FilmTimes.seen_by(request, keeper, film)
    return {
        "facts": screen.film_facts(film, case_of(keeper, film, None), load(), sex=given.sex),
        "name": screen.film_name(film, times.of(film)),
        "reading": None if reading is None else screen.reading_facts(reading),
        "items": [item.model_dump(mode="json") for item in items],
        "rows": answer["rows"],
        "circles": answer["circles"],
    }


@router.websocket("/films/{image}/live")
async def live(
    socket: WebSocket, image: str, by: Annotated[str, Query(max_length=60)] = ""
) -> None:
    """Landmarks in, findings out; the guard has checked session and origin.

    ``by`` says whose reading is on the screen: the doubt of the numbers is that reader's.
    """
    reader = by or observer_of(socket) or NOBODY
    try:
        working = await asyncio.to_thread(_working, keeper_of(socket), image, reader)
    except KeepingError:
        await socket.close(code=1008)
        return
    await socket.accept()
    await converse(socket, working)


def _working(keeper: Keeper, image: str, reader: str) -> WorkingReading:
    """A reading to work on; the reader's spread is worked out here, once for all answers."""
    film = film_of(keeper, image)
    return WorkingReading(film, reader, circumstances=circumstances_of(keeper, film, reader))
