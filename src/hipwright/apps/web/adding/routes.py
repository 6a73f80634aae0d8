"""Addresses of taking images in."""

from __future__ import annotations

from http import HTTPStatus
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import unquote

from fastapi import APIRouter, Depends, Header, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from hipwright.apps.web.adding.safe_paths import safe_path
from hipwright.apps.web.adding.taking import (
    keep,
    look,
    proposed_sides,
    sides_with_cases,
    wishes_of,
)
from hipwright.apps.web.arriving import Arriving, Stage
from hipwright.apps.web.authors import author_of
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import WebState, web_state
from hipwright.apps.web.thumbnails import thumbnail
from hipwright.domain.errors import ImportRefusedError, NotFoundError
from hipwright.domain.keeping import ImageKind, Laterality
from hipwright.domain.study import VIEW_NAMES, View
from hipwright.domain.volume import Modality
from hipwright.wiring import importer
from hipwright.workflows.ports import ArrivingImage, Asked, Delivery
from hipwright.workflows.read_study import ImportReport

router = APIRouter()


class Begin(BaseModel):
    """Where the images are for."""

    into: str = ""


async def found(request: Request, name: str) -> Arriving:
    """The import that the address names."""
    arriving = web_state(request).arrivals.find(name)
    if arriving is None:
        raise NotFoundError(
            "cannot find the import",
            found="none of that name",
            needed="one that was begun here",
            next_step="Bring the files in again.",
        )
    return arriving


Known = Annotated[Arriving, Depends(found)]


@router.post("/adding")
def begin(request: Request, wanted: Begin) -> Response:
    """Begin an import."""
    state = web_state(request)
    into = state.opened.keeper.case(wanted.into).code if wanted.into else ""
    arriving = state.arrivals.begin(into)
    return JSONResponse({"address": f"/adding/{arriving.id}"}, HTTPStatus.CREATED)


@router.put("/adding/{name}/files")
async def bring(
    request: Request, arriving: Known, x_file_path: Annotated[str, Header(max_length=8000)]
) -> Response:
    """Bring one file in, as it comes, to a folder that is emptied afterward."""
    if arriving.stage is not Stage.BRINGING or arriving.stop.is_set():
        raise _over()
    path = _place(arriving, unquote(x_file_path))
    limit = web_state(request).settings.upload_limit_bytes
    with path.open("wb") as file:
        async for chunk in request.stream():
            arriving.size += len(chunk)
            if arriving.size > limit:
                raise ImportRefusedError(
                    "cannot take so much at once",
                    found=f"more than {limit / 1e9:g} GB",
                    needed="less",
                    next_step="Bring it in parts, or use `hipwright add`.",
                )
            file.write(chunk)  # into the system's cache: quicker than handing it to a thread
    return JSONResponse({"files": arriving.files})


@router.post("/adding/{name}/look")
def look_at_it(request: Request, arriving: Known) -> Response:
    """Read what was brought."""
    if arriving.stage is not Stage.BRINGING:
        raise _over()
    if arriving.files == 0:
        web_state(request).arrivals.settle(arriving, Stage.CANCELED)
        raise ImportRefusedError(
            "cannot add images",
            found="no files",
            needed="at least one file",
            next_step="An empty folder was dropped; choose another.",
        )
    look(web_state(request), arriving)
    return JSONResponse({"next": f"/adding/{arriving.id}"})


@router.post("/adding/{name}/look-again")
async def look_again(request: Request, arriving: Known) -> Response:
    """Read again, with pictures that may show a name, or for a case that was named."""
    form = await request.form()
    state = web_state(request)
    if arriving.stage is not Stage.ASKING:
        raise _over()
    into = str(form.get("into", "")).strip()
    if into:
        arriving.into = (await run_in_threadpool(state.opened.keeper.case, into)).code
    arriving.pixels_checked = arriving.pixels_checked or "pixels" in form
    look(state, arriving)
    return RedirectResponse(f"/adding/{arriving.id}", HTTPStatus.SEE_OTHER)


@router.get("/adding/{name}")
def show(request: Request, arriving: Known) -> Response:
    """How far it is, what was found, what became of it."""
    return render(request, _template(arriving), here="Cases", **_facts(request, arriving))


@router.get("/adding/{name}/progress")
def progress(request: Request, arriving: Known) -> Response:
    """The part of the page that moves; once it is done the whole page is loaded anew."""
    if not arriving.stage.is_working:
        address = arriving.next if arriving.stage is Stage.DONE and arriving.next else ""
        return Response(
            status_code=HTTPStatus.NO_CONTENT,
            headers={"HX-Redirect": address or f"/adding/{arriving.id}"},
        )
    return render(request, "adding/progress.html", arriving=arriving)


@router.post("/adding/{name}/cancel")
def cancel(request: Request, arriving: Known) -> Response:
    """Stop it; nothing of it is kept."""
    arriving.stop.set()
    if not arriving.stage.is_working and not arriving.stage.is_over:
        web_state(request).arrivals.settle(arriving, Stage.CANCELED)
    return RedirectResponse("/cases", HTTPStatus.SEE_OTHER)


@router.post("/adding/{name}/keep")
async def confirm(request: Request, arriving: Known) -> Response:
    """Keep what was found, as it was answered."""
    form = {key: str(value) for key, value in (await request.form()).items()}
    if arriving.stage is not Stage.ASKING:
        raise _over()
    by = author_of(request)
    await run_in_threadpool(keep, web_state(request), arriving, form, by=by)
    return RedirectResponse(f"/adding/{arriving.id}", HTTPStatus.SEE_OTHER)


@router.get("/adding/{name}/pictures/{image}.png")
def picture(request: Request, arriving: Known, image: str) -> Response:
    """A small picture of one image that waits to be confirmed."""
    made = arriving.thumbnails.get(image)
    if made is None:
        made = thumbnail(web_state(request).dock.picture(_middle(_image(arriving, image))))
        arriving.thumbnails[image] = made
    return Response(made, media_type="image/png")


def _middle(arriving: ArrivingImage) -> bytes:
    return arriving.contents[len(arriving.contents) // 2]


def _image(arriving: Arriving, wanted: str) -> ArrivingImage:
    arrivals = arriving.delivery.arrivals if arriving.delivery else ()
    for arrival in arrivals:
        for image in arrival.images:
            if image.image.id == wanted:
                return image
    raise NotFoundError("cannot show the picture", found="an import that is over")


def _place(arriving: Arriving, sent: str) -> Path:
    path = safe_path(arriving.folder, sent)
    with arriving.lock:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        number = 1
        while path.exists():
            number += 1
            path = path.with_name(f"{path.stem} ({number}){path.suffix}")
        path.touch(mode=0o600)
        arriving.files += 1
    return path


def _over() -> ImportRefusedError:
    return ImportRefusedError(
        "cannot go on with the import",
        found="one that is further already, or over",
        needed="one that waits",
        next_step="Go back to the cases and bring the files in again.",
    )


def _template(arriving: Arriving) -> str:
    if arriving.stage.is_working:
        return "adding/working.html"
    return "adding/review.html" if arriving.stage is Stage.ASKING else "adding/over.html"


def _facts(request: Request, arriving: Arriving) -> dict[str, Any]:
    facts: dict[str, Any] = {"arriving": arriving}
    delivery = arriving.delivery
    if arriving.stage is Stage.ASKING and delivery is not None:
        facts |= _review(web_state(request), arriving, delivery)
    if arriving.stage is Stage.DONE and arriving.report is not None:
        facts["scans"] = _scans(arriving.report)
    return facts


def _scans(report: ImportReport) -> dict[str, str]:
    """By person, the CT series that came in and has the most slices: what bones are made from."""
    series = [
        image
        for image in (*report.images, *report.completed)
        if image.kind is ImageKind.SERIES and image.modality == Modality.CT.value
    ]
    return {i.person: i.id for i in sorted(series, key=lambda i: len(i.files))}


def _review(state: WebState, arriving: Arriving, delivery: Delivery) -> dict[str, Any]:
    """Everything the page asks about."""
    takes = importer(state.opened)
    wishes = wishes_of(arriving)
    people: list[dict[str, Any]] = []
    for number, arrival in enumerate(delivery.arrivals):
        sides, why = proposed_sides(takes, arrival, wishes)
        unsure = {(q.image, q.asked) for q in arrival.questions}
        people.append(
            {
                "number": number,
                "arrival": arrival,
                "sides": sides,
                "why": why,
                "have": sides_with_cases(takes, arrival),
                "images": [
                    {
                        "image": one.image,
                        "study": one.study,
                        "files": len(one.contents),
                        "asks_view": (one.image.id, Asked.VIEW) in unsure,
                        "asks_side": (one.image.id, Asked.SIDE) in unsure,
                        "is_series": one.image.kind is ImageKind.SERIES,
                    }
                    for one in arrival.images
                ],
            }
        )
    films = [i for person in people for i in person["images"] if not i["is_series"]]
    return {
        "people": people,
        "rejected": delivery.rejected,
        "doubts": [q for q in delivery.questions if q.asked is Asked.PIXELS],
        "one_film": len(films) == 1 and len(people) == 1,
        "views": [(v.value, VIEW_NAMES[v]) for v in View if v.is_film],
        "shows": [
            (Laterality.BOTH.value, "Both hips"),
            (Laterality.LEFT.value, "Left hip"),
            (Laterality.RIGHT.value, "Right hip"),
            (Laterality.UNKNOWN.value, "Not known"),
        ],
    }
