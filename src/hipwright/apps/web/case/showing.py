"""The facts of the page of one hip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.requests import Request

from hipwright.apps.web.identities import Identities, identities_for
from hipwright.apps.web.showing.words import age_in_years
from hipwright.apps.web.state import web_state
from hipwright.domain.keeping import Case, Image, ImageKind, Reading
from hipwright.workflows.ports import Keeper


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmCard:
    """One image of the person as the page shows it."""

    image: Image
    readings: tuple[Reading, ...]
    taken_on: Any
    age: int | None
    shows_hip: bool

    @property
    def is_film(self) -> bool:
        """Whether it can be read on the Films screen."""
        return self.image.kind is not ImageKind.SERIES and self.image.view.is_film

    @property
    def is_series(self) -> bool:
        """Whether it can be read on the Slices screen."""
        return self.image.kind is ImageKind.SERIES and bool(self.image.files)

    @property
    def readers(self) -> str:
        """Who has read it."""
        codes = dict.fromkeys(r.landmarks.observer.removeprefix("human:") for r in self.readings)
        return ", ".join(codes)


def film_cards(keeper: Keeper, case: Case, identities: Identities) -> list[FilmCard]:
    """All images of the person, newest first, those of this hip before the others."""
    person = keeper.person(case.person)
    cards = [
        FilmCard(
            image=image,
            readings=tuple(keeper.readings_of(image.id)),
            taken_on=identities.true_date(case.person, image.acquired_on),
            age=age_in_years(person.birth_date_shifted, image.acquired_on),
            shows_hip=image.laterality.shows(case.side),
        )
        for image in keeper.images_of(case.person)
    ]
    cards.sort(
        key=lambda card: card.image.acquired_on.toordinal() if card.image.acquired_on else 0
    )
    cards.reverse()
    return sorted(cards, key=lambda card: not card.shows_hip)


def head_facts(request: Request, case: Case) -> dict[str, Any]:
    """Who and which hip: what stands above every page of a case."""
    keeper = web_state(request).opened.keeper
    identities = identities_for(request)
    person = keeper.person(case.person)
    cards = film_cards(keeper, case, identities)
    films = [card for card in cards if card.is_film and card.shows_hip]
    unread = [card for card in films if not card.readings]
    newest = films[0] if films else None
    other = [one for one in keeper.cases_of(case.person) if one.id != case.id]
    return {
        "case": case,
        "person": person,
        "identity": identities.of(case.person),
        "age": newest.age if newest else None,
        "cards": cards,
        "films": films,
        "read_next": (unread or films or [None])[0],
        "shows_bones": any(card.is_series and card.image.modality == "CT" for card in cards)
        or bool(keeper.bone_builds_of(case.person)),
        "read_again": any(len(card.readings) > 1 for card in films),
        "other_case": other[0] if other else None,
        "unfiled": identities.shown
        and not (case.invented or person.invented)
        and identities.of(case.person) is None,
    }
