"""Addresses of the Films screen: the page, its pictures and its socket."""

from __future__ import annotations

import asyncio
from typing import Any

from fastapi import APIRouter, Request, Response, WebSocket
from fastapi.responses import JSONResponse

from hipwright.apps.web.films import screen
from hipwright.apps.web.films.desk import (
    case_of,
    film_of,
    keeper_of,
    require_file,
    sex_of,
    shelf_of,
)
from hipwright.apps.web.films.live import converse
from hipwright.apps.web.films.messages import Moved, items_of
from hipwright.apps.web.films.reader import observer_of
from hipwright.apps.web.films.working import WorkingReading
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.static_files import FOLDER
from hipwright.catalog import load
from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping import Image
from hipwright.workflows.measure_hip import newest_reading
from hipwright.workflows.ports import Keeper

router = APIRouter()

FOREVER = "private, max-age=31536000, immutable"
"""Addresses of pixels hold their digest, so what they give never changes."""

MODULES = tuple(
    f"js/{path.relative_to(FOLDER / 'js').as_posix()}"
    for folder in ("lib", "components/film-view", "films")
    for path in sorted((FOLDER / "js" / folder).glob("*.js"))
)
"""All scripts of the screen, so that the browser need not find them one by one."""

MOST_READINGS = 99
NOBODY = "human:unnamed"


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
    facts = await asyncio.to_thread(
        _page_facts,
        keeper,
        film,
        observer=observer_of(request),
        case_code=case,
        reading=reading,
        beside=beside,
    )
    return render(request, "films/film.html", here="Films", **facts)


def _page_facts(
    keeper: Keeper,
    film: Image,
    *,
    observer: str | None,
    case_code: str | None,
    reading: int | None,
    beside: str | None,
) -> dict[str, Any]:
    case = case_of(keeper, film, case_code)
    kept = keeper.readings_of(film.id)
    own = {r.landmarks.reading: r for r in kept if r.landmarks.observer == observer}
    number = reading if reading and 1 <= reading <= MOST_READINGS else max(own, default=1)
    current = own.get(number)
    others = [i for i in screen.films_of(keeper.images_of(film.person)) if i.id != film.id]
    facts = screen.film_facts(film, case, load(), sex=sex_of(keeper, film)) | {
        "observer": observer,
        "reading": number,
        "current": None if current is None else screen.reading_with_items(current),
        "readings": [screen.reading_facts(r) for r in kept],
        "others": [{"image": i.id, "name": screen.film_name(i)} for i in others],
        "beside": beside if beside in {i.id for i in others} else None,
    }
    return {
        "film": film,
        "film_name": screen.film_name(film),
        "case": case,
        "observer": observer,
        "others": others,
        "details": screen.details(film),
        "modules": MODULES,
        "facts": facts,
        "preview": f"/films/{film.id}/preview/{film.files[0]}.jpg",
        "pixels": f"/films/{film.id}/pixels/{film.files[0]}",
    }


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
    return JSONResponse(await asyncio.to_thread(_beside, keeper, film))


def _beside(keeper: Keeper, film: Image) -> dict[str, Any]:
    reading = newest_reading(keeper, film.id, None)
    items = [] if reading is None else items_of(reading.landmarks)
    sex = sex_of(keeper, film)
    working = WorkingReading(film, NOBODY, sex=sex)
    touched = working.take(Moved(seq=0, items=tuple(items), all=True))
    answer = working.first_answer(touched)
    return {
        "facts": screen.film_facts(film, case_of(keeper, film, None), load(), sex=sex),
        "name": screen.film_name(film),
        "reading": None if reading is None else screen.reading_facts(reading),
        "items": [item.model_dump(mode="json") for item in items],
        "rows": answer["rows"],
        "circles": answer["circles"],
    }


@router.websocket("/films/{image}/live")
async def live(socket: WebSocket, image: str) -> None:
    """Landmarks in, findings out; the guard has checked session and origin."""
    try:
        film = await asyncio.to_thread(film_of, keeper_of(socket), image)
        sex = await asyncio.to_thread(sex_of, keeper_of(socket), film)
    except KeepingError:
        await socket.close(code=1008)
        return
    await socket.accept()
    await converse(socket, WorkingReading(film, observer_of(socket) or NOBODY, sex=sex))
