"""Addresses of the Workspace screen."""

from __future__ import annotations

import secrets
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import FileResponse, RedirectResponse
from starlette.background import BackgroundTask

from hipwright import __version__
from hipwright.apps.web.films.reader import READER_CODE, observer_of, remember_reader
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.showing.refusals import told
from hipwright.apps.web.state import web_state

router = APIRouter()


@router.get("/workspace")
def show(request: Request) -> Response:
    """What there is."""
    lines = web_state(request).opened.keeper.case_lines()
    return render(
        request,
        "workspace/workspace.html",
        here="Workspace",
        version=__version__,
        folder=web_state(request).opened.folder.name,
        cases=len(lines),
        people=len({line.person for line in lines}),
        invented=sum(line.invented for line in lines),
        observer=observer_of(request),
        lock_after=int(web_state(request).settings.lock_after.total_seconds() // 60),
    )


@router.post("/reader")
def reader(request: Request, code: Annotated[str, Form()]) -> Response:
    """Say who reads: the code under which readings are kept."""
    if not READER_CODE.fullmatch(code.strip()):
        return told(
            request,
            HTTPStatus.UNPROCESSABLE_ENTITY,
            code="reader",
            field="code",
            message="cannot use the reader's code: needs 1 to 12 letters, digits or hyphens.",
            help_text="Choose a short code, not a name: it stands beside every reading.",
        )
    remember_reader(request, code.strip())
    return RedirectResponse("/workspace", HTTPStatus.SEE_OTHER)


@router.post("/workspace/check-up")
def check_up(request: Request) -> Response:
    """Look everything over, as ``hipwright doctor --quick`` does."""
    from hipwright.wiring import check_up
    from hipwright.workflows.keep_workspace import is_sound

    where = web_state(request).opened.where
    checks = check_up(where, quick=True, progress=lambda *_: None)
    return render(request, "workspace/checks.html", checks=checks, sound=is_sound(checks))


@router.post("/workspace/backup")
def backup(
    request: Request,
    passphrase: Annotated[str, Form(max_length=1000)] = "",
    again: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """Write the whole workspace into one file and hand it to the browser."""
    from hipwright.wiring import back_up

    if passphrase != again:
        return told(
            request,
            HTTPStatus.UNPROCESSABLE_ENTITY,
            code="passphrase",
            field="again",
            message="cannot make the backup: the two passphrases differ.",
            help_text="Type the same one twice, or leave both empty.",
        )
    state = web_state(request)
    # A backup inside the workspace is refused, so it waits beside it to be fetched.
    target = state.opened.folder.parent / f".{secrets.token_hex(8)}.backup"
    back_up(state.opened, target, passphrase=passphrase or None, progress=lambda *_: None)
    day = state.clock.now().astimezone().date().isoformat()
    return FileResponse(
        target,
        filename=f"hipwright-{day}.backup",
        background=BackgroundTask(target.unlink, missing_ok=True),
    )
