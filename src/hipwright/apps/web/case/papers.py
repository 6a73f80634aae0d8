"""What leaves a case on paper or as a file, and landmarks that come back."""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, File, Form, Query, Request, Response, UploadFile
from fastapi.responses import PlainTextResponse
from starlette.concurrency import run_in_threadpool

from hipwright.adapters.wire.documents import CAUTION, SOFTWARE
from hipwright.apps.web.authors import author_of
from hipwright.apps.web.case.naming import Named
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import session_of, web_state
from hipwright.domain.errors import HipwrightError, LandmarkError
from hipwright.domain.keeping import Case, Image, ImageKind

if TYPE_CHECKING:
    from hipwright.workflows.report_case import CaseReport

router = APIRouter()

LARGEST_LANDMARK_FILE = 2_000_000
WITH_IDENTITY = "care"


@router.get("/cases/{code}/report.pdf")
def as_pdf(request: Request, case: Named, whose: Annotated[str, Query()] = "") -> Response:
    """The report for printing."""
    from hipwright.adapters.documents.typst_pdf import to_pdf

    made = _report(request, case, whose)
    return Response(
        to_pdf(made.document, made.pictures),
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{case.code}.pdf"'},
    )


@router.get("/cases/{code}/report.html")
def as_html(request: Request, case: Named, whose: Annotated[str, Query()] = "") -> Response:
    """The report as one file; it brings its own styles, so it is saved, not shown here."""
    from hipwright.adapters.documents.web_page import to_html

    made = _report(request, case, whose)
    return Response(
        to_html(made.document, made.pictures),
        media_type="text/html; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{case.code}.html"'},
    )


@router.get("/cases/{code}/letter.txt")
def as_letter(request: Request, case: Named) -> Response:
    """The findings in a few sentences."""
    return PlainTextResponse(_report(request, case, "").letter)


def _report(request: Request, case: Case, whose: str) -> CaseReport:
    from hipwright.adapters.documents.film_png import PngPrinter
    from hipwright.apps.web.bones.reporting import bones_for_report
    from hipwright.workflows.report_case import Sources, report_case

    state = web_state(request)
    with_identity = whose == WITH_IDENTITY and session_of(request).names_shown
    sources = Sources(
        keeper=state.opened.keeper,
        dock=state.dock,
        printer=PngPrinter(),
        identity=state.opened.identity if with_identity else None,
        bones=lambda one: bones_for_report(request, one),
    )
    return report_case(
        sources,
        case,
        made_on=state.clock.now().astimezone().date(),
        software=SOFTWARE,
        caution=CAUTION,
    )


def _films(request: Request, case: Case) -> list[Image]:
    images = web_state(request).opened.keeper.images_of(case.person)
    return [
        image
        for image in images
        if image.kind is not ImageKind.SERIES and image.laterality.shows(case.side)
    ]


@router.get("/cases/{code}/landmarks.json")
def landmarks(request: Request, case: Named) -> Response:
    """The newest reading of every film, each as a landmark file."""
    from hipwright.adapters.wire.landmark_file import landmarks_to_wire
    from hipwright.workflows.measure_hip import newest_reading

    keeper = web_state(request).opened.keeper
    readings = [newest_reading(keeper, image.id, None) for image in _films(request, case)]
    files = [
        landmarks_to_wire(reading.landmarks).model_dump(mode="json", exclude_none=True)
        for reading in readings
        if reading is not None
    ]
    return Response(
        json.dumps(files, indent=2),
        media_type="application/json",
        headers={"Content-Disposition": f'attachment; filename="{case.code}-landmarks.json"'},
    )


@router.post("/cases/{code}/landmarks")
async def load_landmarks(
    request: Request,
    case: Named,
    file: Annotated[UploadFile, File()],
    image: Annotated[str, Form()] = "",
) -> Response:
    """Load a landmark file as a new version of its observer's reading."""
    content = await file.read(LARGEST_LANDMARK_FILE + 1)
    try:
        count = await run_in_threadpool(_load, request, case, content, image)
    except HipwrightError as error:
        return render(
            request,
            "case/landmarks_answer.html",
            status=HTTPStatus.UNPROCESSABLE_ENTITY,
            fault=str(error),
        )
    return Response(
        status_code=HTTPStatus.NO_CONTENT,
        headers={"HX-Redirect": f"/cases/{case.code}#measurements", "Landmark-Files": str(count)},
    )


def _load(request: Request, case: Case, content: bytes, image: str) -> int:
    """Load one landmark file, or a list of them as a case gives them out."""
    from hipwright.adapters.wire.landmark_file import landmarks_from_wire, parse_landmark_file
    from hipwright.workflows.save_reading import save_reading

    if len(content) > LARGEST_LANDMARK_FILE:
        raise _refused(f"more than {LARGEST_LANDMARK_FILE} bytes", "a smaller file")
    keeper = web_state(request).opened.keeper
    films = _films(request, case)
    files = [parse_landmark_file(text) for text in _each(content)]
    with keeper.transaction(by=author_of(request)):
        for file in files:
            wanted = image or file.image
            fitting = [film for film in films if film.id == wanted]
            if not wanted and len(films) == 1:
                fitting = films
            if len(fitting) != 1:
                raise _refused("landmarks of another film", "one of the films of this case")
            placed = landmarks_from_wire(file, fitting[0].film())
            save_reading(keeper, case, fitting[0], placed, software=SOFTWARE)
    return len(files)


def _each(content: bytes) -> list[str]:
    try:
        read = json.loads(content.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise _refused("a file that is no JSON", "a landmark file") from error
    return [json.dumps(one) for one in read] if isinstance(read, list) else [json.dumps(read)]


def _refused(found: str, needed: str) -> LandmarkError:
    return LandmarkError(
        "cannot load the landmarks",
        found=found,
        needed=needed,
        next_step="Choose the film in the list, or another file. Nothing was changed.",
        field="file",
    )
