"""Who is who, joined for screens of people who care for the patient."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from starlette.requests import HTTPConnection

from hipwright.apps.web.state import session_of, web_state
from hipwright.domain.keeping import Identity

if TYPE_CHECKING:
    from hipwright.wiring import Workspace

HIDDEN = "date hidden"


@dataclass(frozen=True, slots=True)
class Identities:
    """Names and true dates, or nothing where names are hidden in this session."""

    opened: Workspace
    shown: bool

    def of(self, person: str) -> Identity | None:
        """Who that is."""
        return self.opened.identity.of(person) if self.shown else None

    def of_all(self, people: Iterable[str]) -> dict[str, Identity | None]:
        """Who these are."""
        return {person: self.of(person) for person in dict.fromkeys(people)}

    def true_date(self, person: str, shifted: date | None) -> date | None:
        """When something really was; nothing where names are hidden."""
        if shifted is None or not self.shown:
            return None
        return self.opened.identity.true_date(person, shifted)

    def search(self, text: str) -> frozenset[str]:
        """The people whose name or number holds every word of the text."""
        words = text.casefold().split()
        if not words or not self.shown:
            return frozenset()
        return frozenset(
            person for person, told in _everybody(self.opened).items() if _holds(told, words)
        )


def identities_for(asked: HTTPConnection) -> Identities:
    """Identity as this session may see it."""
    return Identities(web_state(asked).opened, session_of(asked).names_shown)


def _holds(told: str, words: list[str]) -> bool:
    return all(word in told for word in words)


_known: dict[str, tuple[tuple[float, ...], dict[str, str]]] = {}
_knowing = threading.Lock()


def _everybody(opened: Workspace) -> dict[str, str]:
    """Everybody's name and numbers in lower case, read again when the store has changed."""
    folder = opened.folder
    files = [folder / "identity.db", folder / "identity.db-wal"]
    stamp = tuple(path.stat().st_mtime if path.exists() else 0.0 for path in files)
    with _knowing:
        kept = _known.get(str(folder))
        if kept is None or kept[0] != stamp:
            everybody = opened.identity.everybody().items()
            told = {
                person: " ".join((who.name, *who.numbers)).casefold() for person, who in everybody
            }
            kept = _known[str(folder)] = stamp, told
        return kept[1]
