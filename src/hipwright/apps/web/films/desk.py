"""What the Films screen takes from the server: the workspace and its pictures."""

from __future__ import annotations

from starlette.requests import HTTPConnection

from hipwright.apps.web.films.opening import ReaderKeeper
from hipwright.apps.web.films.pictures import PictureShelf
from hipwright.apps.web.films.screen import films_of
from hipwright.apps.web.state import web_state
from hipwright.domain.errors import NotFoundError
from hipwright.domain.keeping import Case, Image
from hipwright.workflows.ports import Keeper


def keeper_of(asked: HTTPConnection) -> ReaderKeeper:
    """The memory of the open workspace."""
    return web_state(asked).opened.keeper


def shelf_of(asked: HTTPConnection) -> PictureShelf:
    """The decoded pictures of this server."""
    app = asked.app.state
    if not hasattr(app, "films"):
        state = web_state(asked)
        app.films = PictureShelf(lambda: state.opened.keeper, lambda: state.dock)
    return app.films


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
