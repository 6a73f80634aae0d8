"""Pages from templates, each with what the frame around it needs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import HTMLResponse

from hipwright.adapters.wire.documents import CAUTION
from hipwright.apps.web.showing.words import FILTERS
from hipwright.apps.web.state import web_state

TEMPLATES = Path(__file__).parent.parent / "templates"


@dataclass(frozen=True, slots=True)
class Link:
    """One entry of the navigation."""

    word: str
    href: str


NAVIGATION = (
    Link("Cases", "/cases"),
    Link("Catalog", "/catalog"),
    Link("Workspace", "/workspace"),
)
"""Screens that exist. Films are opened from a case."""


@cache
def environment() -> jinja2.Environment:
    """Templates with everything escaped and nothing undefined passed over."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(FILTERS)
    return made


def render(
    request: Request,
    template: str,
    *,
    status: int = 200,
    here: str = "",
    headers: Mapping[str, str] | None = None,
    background: BackgroundTask | None = None,
    **facts: Any,
) -> HTMLResponse:
    """Make a page or a part of one.

    Parameters
    ----------
    template
        Its path under ``templates``.
    here
        The navigation's word for this screen.
    facts
        What the template shows.
    """
    state = web_state(request)
    session = request.scope["state"].get("session")
    frame = {
        "csrf_token": session.csrf_token if session else "",
        "signed_in": session is not None,
        "names_shown": bool(session and session.names_shown),
        "navigation": NAVIGATION if session else (),
        "here": here,
        "back": request.url.path,
        "caution": CAUTION,
        "static": state.static.address,
    }
    text = environment().get_template(template).render({**frame, **facts})
    return HTMLResponse(text, status, headers=dict(headers or {}), background=background)
