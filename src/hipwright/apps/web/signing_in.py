"""Signing in by a start link, locking, hiding names."""

from __future__ import annotations

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.showing.refusals import told
from hipwright.apps.web.state import session_of, web_state

router = APIRouter()


@router.get("/start/{token}")
def start(request: Request, token: str) -> Response:
    """Sign in by a link that works once."""
    state = web_state(request)
    if not state.links.use(token):
        return told(
            request,
            HTTPStatus.FORBIDDEN,
            code="start_link",
            message="This start link has been used already, or its time is over.",
            help_text="Ask for a new one: it is printed where hipwright was started.",
        )
    value, _ = state.sessions.open()
    answer = RedirectResponse("/cases", HTTPStatus.SEE_OTHER)
    answer.set_cookie(
        state.settings.cookie,
        value,
        max_age=int(state.settings.longest_session.total_seconds()),
        path="/",
        secure=state.settings.secure,
        httponly=True,
        samesite="lax",
    )
    return answer


@router.get("/locked")
def locked(request: Request) -> Response:
    """Tell how to get in."""
    return render(request, "locked.html", status=HTTPStatus.UNAUTHORIZED, asked=None)


@router.post("/locked")
def ask_for_link(request: Request) -> Response:
    """Print a new start link where hipwright was started; the browser never sees it."""
    state = web_state(request)
    token = state.links.make_on_request()
    if token is not None:
        state.announce(f"A new start link was asked for: {state.start_address(token)}")
    return render(request, "locked.html", status=HTTPStatus.UNAUTHORIZED, asked=token is not None)


@router.post("/lock")
def lock(request: Request) -> Response:
    """Sign out."""
    state = web_state(request)
    state.sessions.close(session_of(request))
    answer = RedirectResponse("/locked", HTTPStatus.SEE_OTHER)
    answer.delete_cookie(state.settings.cookie, path="/", secure=state.settings.secure)
    return answer


@router.get("/access/left")
def left(request: Request) -> Response:
    """Tell how many seconds the session lasts; asking does not lengthen it."""
    state = web_state(request)
    return JSONResponse({"seconds": state.sessions.left(session_of(request)).total_seconds()})


@router.post("/access/here")
def here() -> Response:
    """Lengthen the session: somebody is at the screen."""
    return Response(status_code=HTTPStatus.NO_CONTENT)


@router.post("/names")
def names(
    request: Request, shown: Annotated[str, Form()], back: Annotated[str, Form()] = "/cases"
) -> Response:
    """Show or hide who people are."""
    session = session_of(request)
    session.names_shown = shown == "1"
    web_state(request).sessions.keep()
    own = back.startswith("/") and not back.startswith(("//", "/\\"))
    return RedirectResponse(back if own else "/cases", HTTPStatus.SEE_OTHER)
