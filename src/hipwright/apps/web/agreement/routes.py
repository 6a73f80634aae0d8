"""Addresses of the page about agreement."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from hipwright.apps.web.agreement.plot import plot_of
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import web_state
from hipwright.catalog import load
from hipwright.domain.errors import NotFoundError

if TYPE_CHECKING:
    from hipwright.workflows.compare_readers import ReadersCompared  # brings slow statistics

router = APIRouter()


@router.get("/agreement")
def overview(request: Request) -> Response:
    """The page; its table follows by itself."""
    return render(request, "agreement/overview.html", here="Workspace")


@router.get("/agreement/table")
def table(request: Request) -> Response:
    """Every measurement that was read more than once."""
    return render(request, "agreement/table.html", found=_compared(request), digits=_digits)


@router.get("/agreement/{definition}")
def show(request: Request, definition: str) -> Response:
    """One measurement: its figures, its plot and the plot's numbers."""
    entry = load().measurement(definition)
    fitting = [one for one in _compared(request) if one.definition == definition]
    if not fitting:
        raise NotFoundError(
            "cannot tell how readers agree",
            found="too few repeat readings of this measurement",
            needed="two readings of at least two hips",
            next_step="Read more films again, or let another reader read them.",
        )
    return render(
        request,
        "agreement/measurement.html",
        here="Workspace",
        entry=entry,
        one=fitting[0],
        plot=plot_of(fitting[0]),
        rows=_rows(request, fitting[0]),
        digits=_digits,
    )


def _compared(request: Request) -> tuple[ReadersCompared, ...]:
    from hipwright.workflows.compare_readers import compare_readers

    state = web_state(request)
    found = compare_readers(state.readings.all(state.opened.keeper))
    places = {key: number for number, key in enumerate(load().measurements)}
    return tuple(sorted(found, key=lambda one: places.get(one.definition, len(places))))


def _digits(value: float, reported_to: float) -> str:
    from hipwright.engines.reporting.numbers import written

    return written(value, reported_to)


def _rows(request: Request, one: ReadersCompared) -> list[dict[str, object]]:
    """The plot's twin: each hip with both readings, their mean and their difference."""
    keeper = web_state(request).opened.keeper
    rows: list[dict[str, object]] = []
    for number, (image, side) in enumerate(one.subjects):
        film = keeper.image(image)
        cases = keeper.cases_of(film.person)
        codes = [case.code for case in cases if case.side.value == side]
        first, second = float(one.values[number, 0]), float(one.values[number, 1])
        rows.append(
            {
                "case": codes[0] if codes else "",
                "film": film,
                "side": side,
                "first": _digits(first, one.reported_to),
                "second": _digits(second, one.reported_to),
                "mean": _digits((first + second) / 2, one.reported_to),
                "difference": _digits(second - first, one.reported_to),
            }
        )
    return rows
