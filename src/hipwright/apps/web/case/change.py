"""Change between two films of a hip."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from hipwright.apps.web.case.naming import Named
from hipwright.apps.web.identities import Identities, identities_for
from hipwright.apps.web.showing.pages import render
from hipwright.apps.web.showing.words import age_in_years, day, view_name
from hipwright.apps.web.state import web_state
from hipwright.domain.keeping import Case, Image, Person

router = APIRouter()


@router.get("/cases/{code}/change")
def show(request: Request, case: Named, pair: Annotated[int, Query(ge=0)] = 0) -> Response:
    """The table of one pair of films; nothing where no two films of a view were read."""
    from hipwright.workflows.compare_films import comparable_pairs, compare_films

    state = web_state(request)
    read = state.measured.of(state.opened.keeper, case)
    pairs = comparable_pairs(read)
    chosen = min(pair, len(pairs) - 1) if pairs else 0
    found = compare_films(*pairs[chosen], case.side) if pairs else ()
    person = state.opened.keeper.person(case.person)
    identities = identities_for(request)
    return render(
        request,
        "case/change.html",
        case=case,
        chosen=chosen,
        pairs=[
            {
                "words": f"{view_name(earlier.image.view)}: "
                f"{_when(earlier.image, case, person, identities)} to "
                f"{_when(later.image, case, person, identities)}"
            }
            for earlier, later in pairs
        ],
        rows=[_row(one) for one in found],
    )


def _when(image: Image, case: Case, person: Person, identities: Identities) -> str:
    true = identities.true_date(case.person, image.acquired_on)
    age = age_in_years(person.birth_date_shifted, image.acquired_on)
    told = day(true) if true else ("no date" if age is None else f"at {age} years")
    return f"{told}, {image.phase}" if image.phase else told


def _row(one: Any) -> dict[str, Any]:
    from hipwright.engines.reporting.numbers import value_with_unit, written

    change, step = one.change, one.later.reported_to
    sign = "+" if change.difference > 0 else ""
    return {
        "name": one.later.name,
        "earlier": value_with_unit(one.earlier),
        "later": value_with_unit(one.later),
        "difference": f"{sign}{written(change.difference, step)}{change.unit.label}",
        "detectable": f"{written(change.smallest_detectable_change, step)}{change.unit.label}",
        "source": str(change.source),
        "beyond": change.is_beyond_doubt,
        "notes": change.notes,
    }
