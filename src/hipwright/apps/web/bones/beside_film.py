"""The film that the CT would have given, beside the real one, and their numbers in pairs."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Query, Request, Response
from numpy.typing import NDArray
from PIL import Image as Pillow

from hipwright.apps.web.bones.at_hand import STANDING, SUPINE, MeasuredBones
from hipwright.apps.web.bones.desk import Opened, OpenedBones, bones_of, shelf_of
from hipwright.apps.web.bones.measuring import measured_of, side_of
from hipwright.apps.web.bones.pairs import pair_rows
from hipwright.apps.web.films.screen import film_name, films_of
from hipwright.apps.web.films.times import FilmTimes
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import web_state
from hipwright.domain.errors import CalibrationError, NotFoundError
from hipwright.domain.keeping import Image
from hipwright.domain.side import Side
from hipwright.engines.imaging.film_beam import scanned_tilt_deg
from hipwright.workflows.film_from_ct import FilmFromCt, Head, PlacedFilm, place_film, trace_film
from hipwright.workflows.measure_hip import newest_reading
from hipwright.workflows.show_bones import tilt_in_words

router = APIRouter()

AS_SCANNED = "scanned"
DARKEST, BRIGHTEST = 45.0, 99.6
"""Percentiles of the rays that meet the patient, shown as black and as white."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltChoice:
    """One pose of the pelvis that the film can be made in."""

    id: str
    words: str
    more_forward_deg: float


@router.get("/bones/{code}/film")
def beside(
    request: Request,
    opened: OpenedBones,
    image: Annotated[str, Query()] = "",
    pose: Annotated[str, Query()] = "",
) -> Response:
    """Both films side by side."""
    films = _films(request, opened)
    film = next((one for one in films if one.id == image), films[0] if films else None)
    measured = measured_of(request, opened)
    choices = tilt_choices(measured, opened)
    facts: dict[str, Any] = {"film": film, "refusal": None, "notes": (), "pairs": ()}
    if film is not None:
        chosen = _pose(choices, pose or film.posture.value)
        facts |= {
            "chosen": chosen,
            "film_name": _name(request, film),
            "pairs": pair_rows(request, opened.case, film, side_of(measured, opened.case.side)),
        }
        try:
            facts["notes"] = _placed(request, film, measured, chosen).notes
        except CalibrationError as error:
            facts["refusal"] = error
    return render(
        request,
        "bones/film.html",
        here="Bones",
        case=opened.case,
        build=opened.build,
        query=opened.query,
        films=[(one, _name(request, one)) for one in films],
        choices=choices,
        **facts,
    )


@router.get("/bones/{code}/film/{image}.png")
def traced(
    request: Request, opened: OpenedBones, image: str, pose: Annotated[str, Query()] = AS_SCANNED
) -> Response:
    """The film from the CT as a picture."""
    film = next((one for one in _films(request, opened) if one.id == image), None)
    if film is None:
        raise NotFoundError(
            "cannot make the film from the CT",
            found="no such film of this person",
            needed="one of this person's films",
            next_step="Choose a film on the page.",
            field="image",
        )
    measured = measured_of(request, opened)
    chosen = _pose(tilt_choices(measured, opened), pose)
    placed = _placed(request, film, measured, chosen)
    at_hand = bones_of(request)
    shelf = shelf_of(request)
    blocks = shelf.get(("blocks", opened.build.id), lambda: at_hand.blocks(opened.build))
    made: FilmFromCt = trace_film(blocks, placed)
    return Response(film_picture(made.water_mm), media_type="image/png")


def _films(request: Request, opened: Opened) -> list[Image]:
    """The person's films of this hip, those from a CT's own view first, newest first."""
    keeper = web_state(request).opened.keeper
    shown = [
        film
        for film in films_of(keeper.images_of(opened.case.person))
        if film.laterality.shows(opened.case.side)
    ]
    shown.sort(key=lambda film: str(film.acquired_on or ""), reverse=True)
    return sorted(shown, key=lambda film: not film.view.shows_both_hips)


def _name(request: Request, film: Image) -> str:
    keeper = web_state(request).opened.keeper
    return film_name(film, FilmTimes.seen_by(request, keeper, film).of(film))


def tilt_choices(measured: MeasuredBones, opened: Opened) -> tuple[TiltChoice, ...]:
    """The poses of the pelvis: as it lay, and as somebody has said that it stands or lies."""
    border = side_of(measured, opened.case.side).border
    scanned = None if border is None else scanned_tilt_deg(border.app_from_lps)
    words = "" if scanned is None else f": {tilt_in_words(scanned)}"
    choices = [
        TiltChoice(id=AS_SCANNED, words=f"as it lay in the scanner{words}", more_forward_deg=0.0)
    ]
    reading = opened.reading
    if reading is None or scanned is None:
        return tuple(choices)
    for posture, tilt in (
        (STANDING, reading.standing_tilt_deg),
        (SUPINE, reading.supine_tilt_deg),
    ):
        if tilt is not None:
            choices.append(
                TiltChoice(
                    id=posture,
                    words=f"{posture}: {tilt_in_words(tilt)}",
                    more_forward_deg=tilt - scanned,
                )
            )
    return tuple(choices)


def _pose(choices: tuple[TiltChoice, ...], wanted: str) -> TiltChoice:
    return next((one for one in choices if one.id == wanted), choices[0])


def _placed(
    request: Request, film: Image, measured: MeasuredBones, pose: TiltChoice
) -> PlacedFilm:
    keeper = web_state(request).opened.keeper
    reading = newest_reading(keeper, film.id, None)
    return place_film(film, reading, heads_of(measured), tilt_deg=pose.more_forward_deg)


def heads_of(measured: MeasuredBones) -> dict[Side, Head]:
    """The heads in the scan."""
    heads: dict[Side, Head] = {}
    for side, hip in measured.sides.items():
        if hip.border is None:
            continue
        x, y, z = hip.border.origin_mm
        radius = hip.head_radius_mm
        if radius is not None:
            heads[side] = Head(center_mm=(float(x), float(y), float(z)), radius_mm=radius)
    return heads


def film_picture(water_mm: NDArray[np.float32]) -> bytes:
    """Millimeters of water as a gray picture, bone light, what was not scanned black."""
    met = water_mm[water_mm > 0]
    low, high = (0.0, 1.0) if not met.size else np.percentile(met, (DARKEST, BRIGHTEST))
    share = np.clip((water_mm - low) / max(float(high) - float(low), 1e-6), 0.0, 1.0)
    out = io.BytesIO()
    Pillow.fromarray((255 * share**0.9 + 0.5).astype(np.uint8)).save(out, "PNG")
    return out.getvalue()
