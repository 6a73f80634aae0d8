"""The list of cases: searched, filtered, sorted and cut into pages without opening any."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import Enum
from typing import Any, Protocol

from hipwright.domain.side import Side


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseLine:
    """One case as lists show it.

    ``films`` and ``unread`` count the films that show this hip; ``stamp`` changes
    whenever anything does that its measurements depend on.
    """

    id: str
    code: str
    side: Side
    person: str
    summary: str
    opened_at: datetime
    invented: bool
    sex: str | None
    birth_date_shifted: date | None
    films: int
    unread: int
    newest_film_on: date | None
    stamp: str

    @property
    def age_at_newest_film(self) -> int | None:
        """Completed years; both dates are shifted alike."""
        born, on = self.birth_date_shifted, self.newest_film_on
        if born is None or on is None:
            return None
        return on.year - born.year - ((on.month, on.day) < (born.month, born.day))


class CaseLister(Protocol):
    """What the list needs from a keeper."""

    def case_lines(self) -> Sequence[CaseLine]:
        """All cases, in the order in which they were opened."""
        ...


class Reading(Enum):
    """Which films of a case have been read."""

    ANY = "any"
    UNREAD = "unread"
    READ = "read"


class Films(Enum):
    """Whether a case has films."""

    ANY = "any"
    SOME = "some"
    NONE = "none"


class Origin(Enum):
    """Whether a case is invented."""

    ANY = "any"
    REAL = "real"
    INVENTED = "invented"


class Order(Enum):
    """What a list is sorted by."""

    NEWEST_FILM = "film"
    OPENED = "opened"
    CODE = "code"
    AGE = "age"
    SIDE = "side"
    UNREAD = "unread"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What somebody wants to see of the list.

    ``search`` is matched with the code and the summary; ``people`` are those whose name
    or number matches it, found where identity is kept.
    """

    search: str = ""
    people: Collection[str] = ()
    side: Side | None = None
    reading: Reading = Reading.ANY
    films: Films = Films.ANY
    origin: Origin = Origin.ANY
    order: Order = Order.NEWEST_FILM
    descending: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A part of the list, counted from page 1."""

    lines: tuple[CaseLine, ...]
    number: int
    pages: int
    found: int
    total: int = field(default=0)


def page_of(lines: Sequence[CaseLine], wanted: Wanted, *, number: int, size: int) -> Page:
    """Search, filter, sort and cut."""
    found = [line for line in lines if _fits(line, wanted)]
    found = _sorted(found, ORDERS[wanted.order], descending=wanted.descending)
    pages = max(1, -(-len(found) // size))
    number = min(max(1, number), pages)
    cut = found[(number - 1) * size : number * size]
    return Page(lines=tuple(cut), number=number, pages=pages, found=len(found), total=len(lines))


ORDERS: Mapping[Order, Callable[[CaseLine], Any]] = {
    Order.NEWEST_FILM: lambda line: line.newest_film_on,
    Order.OPENED: lambda line: line.opened_at,
    Order.CODE: lambda line: line.code,
    Order.AGE: lambda line: line.age_at_newest_film,
    Order.SIDE: lambda line: line.side.value,
    Order.UNREAD: lambda line: line.unread,
}


def _sorted(
    lines: Sequence[CaseLine], key: Callable[[CaseLine], Any], *, descending: bool
) -> list[CaseLine]:
    """Sorted, with what is not known at the end either way."""
    known = [line for line in lines if key(line) is not None]
    unknown = [line for line in lines if key(line) is None]
    return sorted(known, key=key, reverse=descending) + unknown


def _fits(line: CaseLine, wanted: Wanted) -> bool:
    return (
        (wanted.side is None or line.side is wanted.side)
        and _fits_films(line, wanted.films)
        and _fits_reading(line, wanted.reading)
        and (wanted.origin is Origin.ANY or line.invented == (wanted.origin is Origin.INVENTED))
        and _fits_search(line, wanted)
    )


def _fits_films(line: CaseLine, films: Films) -> bool:
    return films is Films.ANY or (line.films > 0) == (films is Films.SOME)


def _fits_reading(line: CaseLine, reading: Reading) -> bool:
    match reading:
        case Reading.ANY:
            return True
        case Reading.UNREAD:
            return line.unread > 0
        case Reading.READ:
            return line.films > 0 and line.unread == 0


def _fits_search(line: CaseLine, wanted: Wanted) -> bool:
    words = wanted.search.casefold().split()
    if not words or line.person in wanted.people:
        return True
    code = line.code.casefold()
    text = f"{code} {code.replace('-', '')} {line.summary.casefold()}"
    return all(word in text for word in words)
