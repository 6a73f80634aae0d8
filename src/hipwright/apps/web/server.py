"""The web application of one open workspace."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import TYPE_CHECKING

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from hipwright.apps.web import signing_in
from hipwright.apps.web.access.headers import SafeHeaders
from hipwright.apps.web.access.sessions import Sessions
from hipwright.apps.web.access.start_links import StartLinks
from hipwright.apps.web.adding.routes import router as adding_router
from hipwright.apps.web.agreement.routes import router as agreement_router
from hipwright.apps.web.arriving import ArrivalTable
from hipwright.apps.web.bones import router as bones_router
from hipwright.apps.web.case.routes import router as case_router
from hipwright.apps.web.cases.routes import router as cases_router
from hipwright.apps.web.catalog.routes import router as catalog_router
from hipwright.apps.web.films import router as films_router
from hipwright.apps.web.guard import Guard
from hipwright.apps.web.logging_quietly import QuietLog, Unexpected
from hipwright.apps.web.settings import WebSettings
from hipwright.apps.web.showing.refusals import HELP, failed, told
from hipwright.apps.web.slices import router as slices_router
from hipwright.apps.web.state import WebState
from hipwright.apps.web.static_files import StampedFiles
from hipwright.apps.web.text_compression import CompressedText
from hipwright.apps.web.workspace.routes import router as workspace_router
from hipwright.domain.errors import HipwrightError
from hipwright.workflows.ports import Clock

if TYPE_CHECKING:
    from hipwright.wiring import Workspace


def create_app(
    opened: Workspace,
    settings: WebSettings,
    *,
    clock: Clock,
    announce: Callable[[str], None] = print,
) -> FastAPI:
    """Make the application.

    Parameters
    ----------
    opened
        The workspace; it stays open as long as the application runs.
    settings
        Where it listens and how it locks.
    clock
        The time.
    announce
        Prints a line where hipwright was started.
    """
    static = StampedFiles()
    state = WebState(
        opened=opened,
        settings=settings,
        clock=clock,
        sessions=Sessions(
            settings.folder / "sessions.json",
            now=clock.now,
            idle=settings.lock_after,
            longest=settings.longest_session,
        ),
        links=StartLinks(now=clock.now, lives=settings.link_lives),
        static=static,
        arrivals=ArrivalTable(settings.folder / "arriving", clock),
        announce=announce,
    )
    app = FastAPI(title="hipwright", docs_url=None, redoc_url=None, openapi_url=None)
    app.state.web = state
    app.mount("/static", static)
    for router in routers():
        app.include_router(router)
    _answer_failures(app)
    app.add_middleware(Unexpected)
    app.add_middleware(Guard, settings=settings, sessions=state.sessions)
    app.add_middleware(CompressedText)
    app.add_middleware(SafeHeaders, secure=settings.secure)
    app.add_middleware(QuietLog)
    return app


def routers() -> list[APIRouter]:
    """Every address of the web part."""
    return [
        signing_in.router,
        cases_router,
        case_router,
        adding_router,
        catalog_router,
        workspace_router,
        agreement_router,
        films_router,
        slices_router,
        bones_router,
    ]


def _answer_failures(app: FastAPI) -> None:
    @app.exception_handler(HipwrightError)
    def expected(request: Request, error: HipwrightError) -> Response:
        return failed(request, error)

    @app.exception_handler(RequestValidationError)
    def malformed(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        field = str(first["loc"][-1])
        return told(
            request,
            HTTPStatus.UNPROCESSABLE_ENTITY,
            code="input",
            message=f"cannot read {field}: {first['msg']}.",
            field=field,
            help_text="Correct it and send it again. Nothing was changed.",
        )

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: HTTPException) -> Response:
        status = HTTPStatus(error.status_code)
        message = "There is no such page." if status is HTTPStatus.NOT_FOUND else error.detail
        return told(
            request,
            status,
            code=status.name.lower(),
            message=message,
            help_text=HELP.get(status, ""),
        )
