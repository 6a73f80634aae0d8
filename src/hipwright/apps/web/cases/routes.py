"""Addresses of the Cases screen. What is searched for stays out of them."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from starlette.background import BackgroundTask

from hipwright.apps.web.cases.key_findings import COLUMNS, KeyFindings
from hipwright.apps.web.cases.warming import warm_up
from hipwright.apps.web.identities import identities_for
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.state import WebState, session_of, web_state
from hipwright.catalog import load
from hipwright.domain.keeping import Identity
from hipwright.domain.side import Side
from hipwright.workflows.list_cases import (
    CaseLine,
    Films,
    Order,
    Origin,
    Page,
    Reading,
    Wanted,
    page_of,
)

PAGE_SIZE = 50
LONGEST_SEARCH = 100

router = APIRouter()


class Asked(BaseModel):
    """What the address says about the list."""

    side: Side | None = None
    reading: Reading = Reading.ANY
    films: Films = Films.ANY
    origin: Origin = Origin.ANY
    order: Order = Order.NEWEST_FILM
    up: bool = False
    page: Annotated[int, Field(ge=1, le=100_000)] = 1

    def address(self, **changed: Any) -> str:
        """The address of the list with some of it changed."""
        facts = {**self.model_dump(mode="json"), **changed}
        usual = Asked().model_dump(mode="json")
        said = {key: value for key, value in facts.items() if value != usual[key]}
        return "/cases" + (f"?{urlencode(said)}" if said else "")

    @property
    def filtered(self) -> bool:
        """Whether anything is left out."""
        usual = Asked()
        names = ("side", "reading", "films", "origin")
        return any(getattr(self, name) != getattr(usual, name) for name in names)


def asked_in_query(request: Request) -> Asked:
    """What the query says; what cannot be read is as usual."""
    said = {key: value for key, value in request.query_params.items() if value}
    return _asked(said)


def _asked(said: dict[str, str]) -> Asked:
    good: dict[str, Any] = {}
    for key in Asked.model_fields:
        if key in said:
            try:
                Asked.model_validate({key: said[key]})
            except ValueError:
                continue
            good[key] = said[key]
    return Asked.model_validate(good)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the list with what is joined to it."""

    line: CaseLine
    identity: Identity | None
    newest_film: Any
    findings: Any


@router.get("/")
def front() -> Response:
    """The first screen is the list of cases."""
    return RedirectResponse("/cases", HTTPStatus.SEE_OTHER)


@router.get("/cases")
def cases(request: Request, asked: Annotated[Asked, Depends(asked_in_query)]) -> Response:
    """The list."""
    return _list(request, asked, "cases/cases.html")


@router.post("/cases/search")
async def search(
    request: Request, q: Annotated[str, Form(max_length=LONGEST_SEARCH)] = ""
) -> Response:
    """Search; the words stay in the session, since they may be a name."""
    form = await request.form()
    said = {key: str(value) for key, value in form.items() if value}
    session_of(request).search = q.strip()
    asked = _asked({key: value for key, value in said.items() if key not in {"q", "page"}})
    if request.headers.get("hx-request"):
        from starlette.concurrency import run_in_threadpool

        return await run_in_threadpool(_list, request, asked, "cases/list.html")
    return RedirectResponse(asked.address(), HTTPStatus.SEE_OTHER)


@router.get("/cases/{code}/key-findings")
def key_findings(request: Request, code: str) -> Response:
    """Measure one case of the list whose numbers are not known yet."""
    state = web_state(request)
    case = state.opened.keeper.case(code)
    line = next(line for line in state.opened.keeper.case_lines() if line.id == case.id)
    kept = _findings(state)
    found = kept.kept(line)
    if found is None:
        found = kept.measure(state.opened.keeper, case, line)
    return render(
        request, "cases/key_findings.html", findings=found, columns=_columns(), line=line
    )


def _list(request: Request, asked: Asked, template: str) -> Response:
    state = web_state(request)
    identities = identities_for(request)
    text = session_of(request).search
    wanted = Wanted(
        search=text,
        people=identities.search(text),
        side=asked.side,
        reading=asked.reading,
        films=asked.films,
        origin=asked.origin,
        order=asked.order,
        descending=not asked.up,
    )
    page = page_of(state.opened.keeper.case_lines(), wanted, number=asked.page, size=PAGE_SIZE)
    kept = _findings(state)
    known = identities.of_all(line.person for line in page.lines)
    rows = [
        Row(
            line,
            known[line.person],
            identities.true_date(line.person, line.newest_film_on),
            kept.kept(line),
        )
        for line in page.lines
    ]
    return render(
        request,
        template,
        here="Cases",
        rows=rows,
        page=page,
        asked=asked,
        search=text,
        columns=_columns(),
        pages=_near(page),
        background=BackgroundTask(warm_up, state),
    )


def _findings(state: WebState) -> KeyFindings:
    return KeyFindings(state.folder / "findings")


def _columns() -> list[tuple[str, str, str]]:
    """Definition, abbreviation and name of each column of numbers."""
    entries = [load().measurements.get(key) for key in COLUMNS]
    return [(entry.id, entry.abbreviation or entry.name, entry.name) for entry in entries if entry]


def _near(page: Page) -> list[int]:
    """The page numbers to offer: first, last and those around; 0 stands for a gap."""
    around = range(page.number - 2, page.number + 3)
    offered = sorted({1, page.pages, *(n for n in around if 1 <= n <= page.pages)})
    shown: list[int] = []
    for number in offered:
        if shown and number - shown[-1] > 1:
            shown.append(0)
        shown.append(number)
    return shown
