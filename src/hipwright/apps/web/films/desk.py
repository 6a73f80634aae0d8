"""What the Films screen takes from the server: the workspace, pictures, who reads."""

from __future__ import annotations

import re

from starlette.requests import HTTPConnection

from hipwright.apps.web.films.pictures import PictureShelf
from hipwright.apps.web.films.screen import films_of
from hipwright.apps.web.state import session_of, web_state
from hipwright.domain.errors import NotFoundError
from hipwright.domain.keeping import Case, Image
from hipwright.workflows.ports import Keeper

READER_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,11}")
"""A reader's short code, such as initials: letters, digits, hyphens."""


def keeper_of(asked: HTTPConnection) -> Keeper:
    """The memory of the open workspace."""
    return web_state(asked).opened.keeper


def shelf_of(asked: HTTPConnection) -> PictureShelf:
    """The decoded pictures of this server."""
    app = asked.app.state
    if not hasattr(app, "films"):
        opened = web_state(asked).opened
        app.films = PictureShelf(lambda: opened.keeper, lambda: opened.dock)
    return app.films


def observer_of(asked: HTTPConnection) -> str | None:
    """Who reads in this session, such as ``human:AB``; ``None`` before a code is chosen."""
    code = session_of(asked).reader
    return f"human:{code}" if code else None


def film_of(keeper: Keeper, image: str) -> Image:
    """The film of that id.

    Raises
    ------
    NotFoundError
        There is none, or it is no film.
    """
    found = keeper.image(image)
    if not films_of([found]):
        raise NotFoundError(
            "cannot open the film",
            found="slices, or an image without a file",
            needed="a radiograph",
            next_step="Choose a film on the case's page.",
            field="image",
        )
    return found


def require_file(keeper: Keeper, image: str, sha256: str) -> None:
    """Refuse to hand out a file that is not that film's.

    Raises
    ------
    NotFoundError
        It is not.
    """
    if sha256 not in film_of(keeper, image).files:
        raise NotFoundError(
            "cannot show the picture",
            found="a file that is not this film's",
            needed="the film's own file",
            next_step="Open the film again.",
            field="sha256",
        )


def case_of(keeper: Keeper, film: Image, asked: str | None) -> Case | None:
    """The case a reading of that film belongs to: the asked one, else the first that fits."""
    cases = [case for case in keeper.cases_of(film.person) if film.laterality.shows(case.side)]
    fitting = (case for case in cases if case.code == asked)
    return next(fitting, None) or next(iter(cases), None)
