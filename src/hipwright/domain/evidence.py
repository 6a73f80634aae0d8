"""Where a number comes from, and how far it can be trusted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from hipwright.domain.errors import UnitError


class Seen(Enum):
    """How the people who wrote hipwright saw a source."""

    FULL_TEXT = "full text"
    ABSTRACT = "abstract"
    SECONDARY = "secondary"
    MEMORY = "memory"
    DERIVED = "derived"
    JUDGMENT = "judgment"

    @property
    def is_first_hand(self) -> bool:
        """Whether the number was read in the source's own full text."""
        return self is Seen.FULL_TEXT


class Spread(Enum):
    """Which doubt an interval describes."""

    OBSERVER = "observer"
    PROPAGATED = "propagated"
    SAMPLING = "sampling"


@dataclass(frozen=True, slots=True, kw_only=True)
class Citation:
    """A reference of the catalog and how it was seen."""

    id: str
    text: str
    identifier: str
    seen: Seen

    def __str__(self) -> str:
        return f"{self.text} [{self.seen.value}]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with its interval.

    ``low`` and ``high`` bound the central ``level`` share of what repeated
    readings would give; the value itself may lie off their middle.
    """

    value: float
    low: float
    high: float
    level: float = 0.95
    spread: Spread = Spread.PROPAGATED

    def __post_init__(self) -> None:
        if not all(math.isfinite(x) for x in (self.value, self.low, self.high, self.level)):
            raise UnitError(
                "cannot make an estimate",
                found=f"{self.value}, {self.low} to {self.high}",
                needed="finite numbers",
                next_step="A value that cannot be measured is NotMeasured with its reason.",
            )
        if not self.low <= self.high or not 0 < self.level < 1:
            raise UnitError(
                "cannot make an estimate",
                found=f"{self.low} to {self.high} at level {self.level}",
                needed="low not above high and a level between 0 and 1",
                next_step="Check the draws that made it.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """The papers of one number."""

    method: str
    by: str
    sources: tuple[str, ...]
    inputs_sha256: str
    software: str
