"""Correcting what is said about an image: view, side, posture, mirroring, scale."""

from __future__ import annotations

from dataclasses import replace
from http import HTTPStatus
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from hipwright.apps.web.authors import author_of
from hipwright.apps.web.case.naming import Named
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.showing.words import LATERALITY_WORDS
from hipwright.apps.web.state import web_state
from hipwright.domain.errors import (
    CalibrationError,
    HipwrightError,
    NotFoundError,
    StaleWriteError,
)
from hipwright.domain.keeping import Case, Image, Laterality
from hipwright.domain.quantities import Length
from hipwright.domain.study import VIEW_NAMES, Calibration, Posture, View
from hipwright.engines.imaging.calibration import (
    Spacing,
    calibrate_by_hand,
    calibrate_from_distances,
)

router = APIRouter()

FRONTS = {"right": True, "left": False, "": None}
LONGEST_PHASE = 60


def image_named(request: Request, case: Named, image: str) -> Image:
    """The image that the address names, if it is the case's person's."""
    found = web_state(request).opened.keeper.image(image)
    if found.person != case.person:
        raise NotFoundError(
            "cannot open the image",
            found="an image of another person",
            needed="one of this case",
            next_step="Open the case anew.",
        )
    return found


Shown = Annotated[Image, Depends(image_named)]


@router.get("/cases/{code}/images/{image}/edit")
def edit(request: Request, case: Named, shown: Shown) -> Response:
    """The dialog."""
    return _dialog(request, case, shown)


@router.post("/cases/{code}/images/{image}/edit")
async def save(request: Request, case: Named, shown: Shown) -> Response:
    """Save it as a further version; a stale one is shown beside what is kept."""
    form = {key: str(value) for key, value in (await request.form()).items()}
    return await run_in_threadpool(_save, request, case, shown, form)


def _save(request: Request, case: Case, shown: Image, form: dict[str, str]) -> Response:
    keeper = web_state(request).opened.keeper
    wanted = shown
    try:
        wanted = _answered(shown, form)
        with keeper.transaction(by=author_of(request)):
            keeper.change_image(wanted, expected_version=int(form.get("version", "0") or 0))
    except StaleWriteError as error:
        status = HTTPStatus.CONFLICT
        both = _both(keeper.image(shown.id), wanted)
        return _dialog(request, case, keeper.image(shown.id), status, str(error), both, form)
    except HipwrightError as error:
        status = HTTPStatus.UNPROCESSABLE_ENTITY
        return _dialog(request, case, shown, status, str(error), (), form)
    return Response(
        status_code=HTTPStatus.NO_CONTENT, headers={"HX-Redirect": f"/cases/{case.code}"}
    )


def _dialog(
    request: Request,
    case: Case,
    image: Image,
    status: HTTPStatus = HTTPStatus.OK,
    fault: str = "",
    both: tuple[tuple[str, str, str], ...] = (),
    form: dict[str, str] | None = None,
) -> Response:
    said = form or {}
    return render(
        request,
        "case/edit_image.html",
        status=status,
        case=case,
        image=image,
        fault=fault,
        both=both,
        now={
            "view": said.get("view", image.view.value),
            "shows": said.get("shows", image.laterality.value),
            "posture": said.get("posture", image.posture.value),
            "phase": said.get("phase", image.phase),
            "mirrored": "mirrored" in said if form else not image.patient_right_at_image_left,
            "front": said.get("front", _front(image.anterior_at_image_right)),
            "scale": said.get("scale", "keep"),
        },
        views=[(v.value, VIEW_NAMES[v]) for v in View],
        shows=[(one.value, words.capitalize()) for one, words in LATERALITY_WORDS.items()],
        postures=[
            (p.value, "Not known" if p is Posture.UNKNOWN else p.value.capitalize())
            for p in Posture
        ],
    )


def _front(anterior_at_right: bool | None) -> str:  # noqa: FBT001 - as the image has it
    return next(key for key, value in FRONTS.items() if value is anterior_at_right)


def _answered(image: Image, form: dict[str, str]) -> Image:
    try:
        return replace(
            image,
            view=View(form.get("view", image.view.value)),
            laterality=Laterality(form.get("shows", image.laterality.value)),
            posture=Posture(form.get("posture", image.posture.value)),
            patient_right_at_image_left="mirrored" not in form,
            anterior_at_image_right=FRONTS[form.get("front", "")],
            phase=" ".join(form.get("phase", "").split())[:LONGEST_PHASE],
            calibration=_scale(image.calibration, form),
            confirmed=True,
        )
    except (ValueError, KeyError) as error:
        raise CalibrationError(
            "cannot save the details",
            found="a choice or number that cannot be read",
            needed="one of the choices offered, and numbers in millimeters",
            next_step="Correct it and save again.",
        ) from error


def _scale(kept: Calibration, form: dict[str, str]) -> Calibration:
    aspect = kept.row_mm / kept.column_mm
    match form.get("scale", "keep"):
        case "keep":
            return kept
        case "hand":
            return calibrate_by_hand(_number(form, "mm_per_pixel"), pixel_aspect=aspect)
        case "distances":
            detector = _number(form, "detector_mm")
            return calibrate_from_distances(
                Spacing(row_mm=detector * aspect, column_mm=detector),
                source_to_detector=Length.from_mm(_number(form, "source_mm")),
                hip_to_detector=Length.from_mm(_number(form, "hip_mm")),
            )
        case "none":
            return Calibration.uncalibrated(pixel_aspect=aspect)
        case _:
            raise ValueError("scale")


def _number(form: dict[str, str], name: str) -> float:
    return float(form.get(name, "").strip().replace(",", "."))


def _both(kept: Image, offered: Image) -> tuple[tuple[str, str, str], ...]:
    """What differs: its name, what is kept now, and what was not saved."""
    told: list[tuple[str, str, str]] = []
    for name, words in _IN_WORDS.items():
        now, mine = words(kept), words(offered)
        if now != mine:
            told.append((name, now, mine))
    return tuple(told)


_IN_WORDS: dict[str, Any] = {
    "View": lambda image: VIEW_NAMES[image.view],
    "Shows": lambda image: LATERALITY_WORDS[image.laterality],
    "Posture": lambda image: image.posture.value,
    "Phase": lambda image: image.phase or "none",
    "Mirrored": lambda image: "no" if image.patient_right_at_image_left else "yes",
    "Front of the patient": lambda image: _front(image.anterior_at_image_right) or "not known",
    "Scale": lambda image: image.calibration.note or image.calibration.source.value,
}
