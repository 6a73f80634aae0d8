"""Measurements, and the honest lack of one.

The fields follow the measurement template of DICOM structured reporting
(TID 300): concept, value, unit, method, derivation of the interval, finding
site with laterality, source image, observer and references. A yes/no sign is a
signed distance whose class says present or absent, so it has an interval too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum

from hipwright.domain.evidence import Citation, Estimate, Provenance
from hipwright.domain.side import Side
from hipwright.domain.study import View


class Unit(Enum):
    """UCUM codes of what hipwright measures."""

    DEGREE = "deg"
    MILLIMETER = "mm"
    PERCENT = "%"
    ONE = "1"
    PIXEL = "{pixel}"
    SQUARE_MILLIMETER = "mm2"
    CUBIC_MILLIMETER = "mm3"
    CLOCK_HOUR = "{clock_hour}"

    @property
    def label(self) -> str:
        """How the unit is written behind a number."""
        return _LABELS[self]


_LABELS = {
    Unit.DEGREE: "°",
    Unit.MILLIMETER: " mm",
    Unit.PERCENT: " %",
    Unit.ONE: "",
    Unit.PIXEL: " px",
    Unit.SQUARE_MILLIMETER: " mm²",
    Unit.CUBIC_MILLIMETER: " mm³",
    Unit.CLOCK_HOUR: " o\N{RIGHT SINGLE QUOTATION MARK}clock",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassShare:
    """One class of a reference range and the share of draws that fall into it."""

    name: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Classification:
    """The value's class by one published set of ranges.

    ``shares`` holds every class that any draw reaches, most frequent first;
    one entry means that the interval does not straddle a threshold.
    """

    name: str
    shares: tuple[ClassShare, ...]
    scheme: str
    reference: Citation
    variant: str = "this"
    settles: str = ""

    @property
    def is_split(self) -> bool:
        """Whether the interval straddles a threshold of the scheme."""
        return len(self.shares) > 1

    def in_words(self) -> str:
        """Write the class, with its shares where it is split: ``normal 72 %, borderline 28 %``."""
        if not self.is_split:
            return self.name
        whole = _whole_percents([s.share for s in self.shares])
        told = zip(self.shares, whole, strict=True)
        return ", ".join(f"{s.name} {_percent(s.share, shown)}" for s, shown in told)


def _whole_percents(shares: Sequence[float]) -> list[int]:
    """Percents without decimals that sum up as the shares do: the largest remainders go up."""
    whole = [math.floor(100 * share) for share in shares]
    left = round(100 * sum(shares)) - sum(whole)
    remainders = [100 * share - shown for share, shown in zip(shares, whole, strict=True)]
    for n in sorted(range(len(whole)), key=lambda n: -remainders[n])[:left]:
        whole[n] += 1
    return whole


def _percent(share: float, shown: int) -> str:
    if share > 0 and shown == 0:
        return "under 1\N{NO-BREAK SPACE}%"
    if share < 1 and shown == 100:  # noqa: PLR2004 (a hundred percent)
        return "over 99\N{NO-BREAK SPACE}%"
    return f"{shown}\N{NO-BREAK SPACE}%"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One number of one hip on one image, with its papers.

    ``hour`` is the clock hour of one value of a series (12 above, 3 in front).
    """

    definition: str
    name: str
    abbreviation: str
    unit: Unit
    estimate: Estimate
    side: Side | None
    view: View
    image: str
    observer: str
    provenance: Provenance
    reported_to: float
    baseline: str = ""
    classification: Classification | None = None
    notes: tuple[str, ...] = ()
    quality_warning: str = ""
    hour: float | None = None

    @property
    def value(self) -> float:
        """The value in :attr:`unit`, unrounded."""
        return self.estimate.value


@dataclass(frozen=True, slots=True, kw_only=True)
class NotMeasured:
    """A measurement that the film or the landmarks do not allow, and why."""

    definition: str
    name: str
    reason: str
    side: Side | None = None
    missing: tuple[str, ...] = field(default=())
    hour: float | None = None


Finding = Measurement | NotMeasured
"""What measuring one definition on one hip gives."""
