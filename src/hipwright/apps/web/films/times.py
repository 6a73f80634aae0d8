"""When films were taken, as this session may see it."""

from __future__ import annotations

from starlette.requests import HTTPConnection

from hipwright.apps.web.identities import Identities, identities_for
from hipwright.apps.web.showing.words import age_in_years, day
from hipwright.domain.errors import IdentityError
from hipwright.domain.keeping import Image, Person
from hipwright.workflows.ports import Keeper


class FilmTimes:
    """The true date where it may be seen, else the age; never the shifted date that is kept."""

    def __init__(self, identities: Identities, person: Person) -> None:
        self._identities = identities
        self._person = person

    @classmethod
    def seen_by(cls, asked: HTTPConnection, keeper: Keeper, film: Image) -> FilmTimes:
        """Of one person's films, for the session that asks."""
        return cls(identities_for(asked), keeper.person(film.person))

    def of(self, film: Image) -> str:
        """``14 Mar 2024``, ``at 31 years``, or ``no date``."""
        try:
            true = self._identities.true_date(self._person.id, film.acquired_on)
        except IdentityError:  # without its key names are gone, films stay readable
            true = None
        if true is not None:
            return day(true)
        age = age_in_years(self._person.birth_date_shifted, film.acquired_on)
        return "no date" if age is None else f"at {age} years"
