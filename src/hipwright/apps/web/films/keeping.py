"""Addresses that save: readings with their versions, the reader's code, the scale."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse
from pydantic import Field

from hipwright.adapters.wire.documents import SOFTWARE
from hipwright.apps.web.films import screen
from hipwright.apps.web.films.calibrating import CalibrationWish, calibrated
from hipwright.apps.web.films.desk import film_of, keeper_of
from hipwright.apps.web.films.messages import Message, Saved, landmark_set
from hipwright.apps.web.films.reader import READER_CODE, observer_of, remember_reader
from hipwright.catalog import load
from hipwright.domain.errors import StaleWriteError
from hipwright.domain.keeping import Image, Reading
from hipwright.workflows.ports import Keeper
from hipwright.workflows.save_reading import save_reading

router = APIRouter()


class ReaderCode(Message):
    """The short code somebody reads under."""

    code: Annotated[str, Field(pattern=f"^{READER_CODE.pattern}$")]


@router.post("/films/reader")
async def choose_reader(request: Request, chosen: ReaderCode) -> Response:
    """From now on this session reads under that code."""
    await asyncio.to_thread(remember_reader, request, chosen.code)
    return JSONResponse({"observer": observer_of(request)})


@router.post("/films/{image}/reading")
async def save(request: Request, image: str, saved: Saved) -> Response:
    """Keep a new version of a reading; a stale one is told what is kept instead."""
    keeper = keeper_of(request)
    film = await asyncio.to_thread(film_of, keeper, image)
    if saved.observer != observer_of(request):
        body = {
            "error": {"code": "reader", "message": "This session reads under another code by now."}
        }
        return JSONResponse(body, HTTPStatus.FORBIDDEN)
    try:
        reading = await asyncio.to_thread(_save, keeper, film, saved)
    except StaleWriteError as error:
        body = await asyncio.to_thread(_stale, keeper, film, saved, error)
        return JSONResponse(body, HTTPStatus.CONFLICT)
    return JSONResponse(screen.reading_facts(reading))


def _save(keeper: Keeper, film: Image, saved: Saved) -> Reading:
    landmarks = landmark_set(
        saved.items,
        image=film.id,
        observer=saved.observer,
        reading=saved.reading,
        catalog=load(),
    )
    read = save_reading(
        keeper,
        keeper.case(saved.case),
        film,
        landmarks,
        expected_version=saved.expected_version,
        software=SOFTWARE,
    )
    assert read.reading is not None  # noqa: S101 (what was saved is returned)
    return read.reading


def _stale(keeper: Keeper, film: Image, saved: Saved, error: StaleWriteError) -> dict[str, Any]:
    history = keeper.reading_history(film.id, saved.observer, saved.reading)
    newest = max(history, key=lambda reading: reading.version, default=None)
    body: dict[str, Any] = {"error": {"code": error.code, "message": str(error)}}
    if newest is not None:
        body["kept"] = screen.reading_with_items(newest)
    return body


@router.get("/films/{image}/readings")
async def readings(request: Request, image: str) -> Response:
    """The newest version of every reading of the film."""
    kept = await asyncio.to_thread(keeper_of(request).readings_of, image)
    return JSONResponse([screen.reading_facts(reading) for reading in kept])


@router.get("/films/{image}/history")
async def history(request: Request, image: str, observer: str, reading: int) -> Response:
    """Every version of a reading with its landmarks, newest first."""
    keeper = keeper_of(request)
    kept = await asyncio.to_thread(keeper.reading_history, image, observer, reading)
    newest_first = sorted(kept, key=lambda version: -version.version)
    return JSONResponse([screen.reading_with_items(version) for version in newest_first])


@router.post("/films/{image}/scale")
async def scale(request: Request, image: str, wish: CalibrationWish) -> Response:
    """Work out a scale from what was marked on the picture; with ``keep``, save it."""
    keeper = keeper_of(request)
    film = await asyncio.to_thread(film_of, keeper, image)
    changed = await asyncio.to_thread(_rescale, keeper, film, wish)
    body = {"scale": screen.scale_facts(changed), "version": changed.version, "kept": wish.keep}
    return JSONResponse(body)


def _rescale(keeper: Keeper, film: Image, wish: CalibrationWish) -> Image:
    changed = replace(film, calibration=calibrated(film, wish))
    if not wish.keep:
        return changed
    return keeper.change_image(changed, expected_version=wish.expected_version)
