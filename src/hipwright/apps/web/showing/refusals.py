"""Every failure in one shape: JSON for programs, a kind page for people."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from starlette.requests import HTTPConnection, Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import Scope

from hipwright.domain.errors import HipwrightError

STATUS_OF = {
    "not_found": HTTPStatus.NOT_FOUND,
    "stale_write": HTTPStatus.CONFLICT,
    "workspace_busy": HTTPStatus.SERVICE_UNAVAILABLE,
    "workspace_version": HTTPStatus.SERVICE_UNAVAILABLE,
    "keeping": HTTPStatus.INTERNAL_SERVER_ERROR,
    "catalog": HTTPStatus.NOT_FOUND,
    "missing_extra": HTTPStatus.NOT_IMPLEMENTED,
}
"""Status by error code; every other refusal blames the input."""

HELP = {
    HTTPStatus.UNAUTHORIZED: "Open a new start link.",
    HTTPStatus.FORBIDDEN: "Reload the page and try again. Nothing was changed.",
    HTTPStatus.MISDIRECTED_REQUEST: "Use the address that hipwright printed when it started.",
    HTTPStatus.NOT_FOUND: "Go back to the list of cases.",
    HTTPStatus.METHOD_NOT_ALLOWED: "Go back and use the buttons of the page.",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: "Send less at once.",
}


def error_body(
    code: str, message: str, *, field: str | None = None, help_text: str = ""
) -> dict[str, Any]:
    """The one shape of an error."""
    return {"error": {"code": code, "message": message, "field": field, "help": help_text}}


def wants_page(asked: HTTPConnection) -> bool:
    """Whether a person asked for a page, not a script for data or for a part of a page."""
    plain = asked.headers.get("hx-request") is None and not asked.url.path.startswith("/api/")
    return plain and "text/html" in asked.headers.get("accept", "")


def refusal_response(scope: Scope, status: HTTPStatus, why: str) -> Response:
    """Refuse before any route is reached."""
    asked = HTTPConnection(scope)
    if status is HTTPStatus.UNAUTHORIZED and wants_page(asked):
        return RedirectResponse("/locked", HTTPStatus.SEE_OTHER)
    message = f"cannot answer: {why}."
    return JSONResponse(
        error_body(status.name.lower(), message, help_text=HELP.get(status, "")), status
    )


def failed(request: Request, error: HipwrightError) -> Response:
    """Tell an expected failure."""
    status = STATUS_OF.get(error.code, HTTPStatus.UNPROCESSABLE_ENTITY)
    if error.code == "identity" and error.field is None:
        status = HTTPStatus.SERVICE_UNAVAILABLE  # the store itself, not what was typed
    return told(
        request,
        status,
        code=error.code,
        message=str(error),
        field=error.field,
        help_text=error.next_step,
    )


def told(
    request: Request,
    status: int,
    *,
    code: str,
    message: str,
    field: str | None = None,
    help_text: str = "",
) -> Response:
    """Tell a failure as a page or as data."""
    if wants_page(request):
        from hipwright.apps.web.showing.pages import render

        return render(request, "refused.html", status=status, message=message, help_text=help_text)
    return JSONResponse(error_body(code, message, field=field, help_text=help_text), status)
