"""A clock face as plain places: values by hour, their doubt, and the rings they are read by.

Places are shares of the face's radius, x toward the front and y down; 12 is above and 3 in
front for either hip.
"""

from __future__ import annotations

from dataclasses import dataclass

Place = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockRing:
    """A circle of one value; ``threshold`` ones part two classes and say which."""

    radius: float
    text: str
    threshold: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockValue:
    """One hour of one hip: where it lies, where its interval ends, and what it says."""

    hour: float
    at: Place
    low: Place
    high: Place
    text: str
    interval: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSeries:
    """The hours of one hip; ``runs`` are stretches without a gap, closed where all are there."""

    name: str
    values: tuple[ClockValue, ...]
    runs: tuple[tuple[Place, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFace:
    """Everything that is drawn; ``label`` says it in words."""

    definition: str
    title: str
    rings: tuple[ClockRing, ...]
    hours: tuple[tuple[str, Place, Place], ...]
    series: tuple[ClockSeries, ...]
    label: str
