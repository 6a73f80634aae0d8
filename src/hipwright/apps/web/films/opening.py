"""What a film opens on: the own reading, somebody else's to look at, or an empty one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from hipwright.domain.keeping import Image, Reading
from hipwright.workflows.ports import Keeper

MOST_READINGS = 99
HUMAN = "human:"


class ReaderKeeper(Keeper, Protocol):
    """A keeper that lists who has read anything at all."""

    def readers(self) -> Sequence[str]:
        """Everybody who has kept a reading."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenedFilm:
    """The reading a film opens on.

    ``own`` is the session's reading of that ``number``, as far as it exists;
    ``looked_at`` is somebody else's, which is shown and not changed.
    """

    number: int
    own: Reading | None = None
    looked_at: Reading | None = None

    @property
    def reading(self) -> Reading | None:
        """What is shown."""
        return self.own or self.looked_at


def reader_to_go_on(keeper: ReaderKeeper, film: Image) -> str | None:
    """Whose readings a session without a reader's code goes on with, ``None`` if it must be said.

    Where one person has read everything, it is theirs. Where all people are invented, as in
    the demonstration, it is whoever read this film last: nothing of a patient can be spoiled.
    """
    readers = keeper.readers()
    if len(readers) == 1:
        return readers[0] if readers[0].startswith(HUMAN) else None
    kept = [r for r in keeper.readings_of(film.id) if r.landmarks.observer.startswith(HUMAN)]
    if not kept or not all(person.invented for person in keeper.persons()):
        return None
    return _newest(kept).landmarks.observer


def opened_film(
    kept: Sequence[Reading], observer: str | None, asked: int | None = None
) -> OpenedFilm:
    """Choose among the readings of a film.

    A number that is asked for opens that reading, empty if need be, and nobody else's
    landmarks. Otherwise the reader's own newest comes first, then the newest of all.
    """
    own = {r.landmarks.reading: r for r in kept if r.landmarks.observer == observer}
    if asked and 1 <= asked <= MOST_READINGS:
        return OpenedFilm(number=asked, own=own.get(asked))
    if own:
        newest = _newest(list(own.values()))
        return OpenedFilm(number=newest.landmarks.reading, own=newest)
    return OpenedFilm(number=1, looked_at=_newest(kept) if kept else None)


def _newest(readings: Sequence[Reading]) -> Reading:
    return max(readings, key=lambda reading: reading.saved_at)
