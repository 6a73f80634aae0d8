"""Which measurement of a film and which one in space look at the same thing."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmAndSpace:
    """A pair of catalog ids, and why the two need not agree.

    ``hour`` chooses one hour of a series in space. Only a pair of the ``same_quantity`` has
    a difference that means anything.
    """

    film: str
    space: str
    because: str
    hour: float | None = None
    same_quantity: bool = True


@cache
def film_and_space() -> tuple[FilmAndSpace, ...]:
    """All pairs, in the order in which they are shown."""
    text = (files("hipwright.catalog") / "film_and_space.toml").read_text("utf-8")
    return tuple(
        FilmAndSpace(
            film=row["film"],
            space=row["space"],
            because=row["because"],
            hour=row.get("hour"),
            same_quantity=row.get("same_quantity", True),
        )
        for row in tomllib.loads(text).get("pair", ())
    )
