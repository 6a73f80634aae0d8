"""What guides a reader: the order of placement, the schematics, the limits of position."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from hipwright.domain.study import View

Table = Mapping[str, Any]
Place = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingStep:
    """One step of guided placement: a few landmarks that are read together."""

    title: str
    landmarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A line of a schematic: (x, y) with x lateral and y downward, in a 0–100 box."""

    name: str
    points: tuple[Place, ...]
    closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a landmark lies on its schematic.

    One place is a point; several are the stretch of an outline that is meant;
    a ``radius`` makes it a circle around its one place.
    """

    places: tuple[Place, ...]
    radius: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Schematic:
    """A stylized hip of one view, drawn as of a left hip (lateral to the right)."""

    outlines: tuple[Outline, ...]
    spots: Mapping[str, Spot]


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionLimit:
    """How far an index of the film's position may go before signs are not to be trusted.

    ``below`` and ``above`` say in words what a value outside the limits means.
    """

    measurement: str
    low: float
    high: float
    below: str
    above: str
    cite: str
    sex: str = ""


def reading_order_from(table: Table) -> Mapping[View, tuple[ReadingStep, ...]]:
    """Make the reading order of each view from its TOML table."""
    return MappingProxyType(
        {
            View(row["view"]): tuple(
                ReadingStep(title=step["title"], landmarks=tuple(step["landmarks"]))
                for step in row["step"]
            )
            for row in table["view"]
        }
    )


def schematics_from(table: Table) -> Mapping[View, Schematic]:
    """Make the schematics from their TOML table; one drawing may serve several views."""
    drawn: dict[View, Schematic] = {}
    for row in table["schematic"]:
        schematic = Schematic(
            outlines=tuple(
                Outline(name=o["name"], points=_places(o["points"]), closed=o.get("closed", False))
                for o in row["outline"]
            ),
            spots=MappingProxyType(
                {
                    name: Spot(places=_places(spot["places"]), radius=spot.get("radius", 0.0))
                    for name, spot in row["spot"].items()
                }
            ),
        )
        drawn |= {View(name): schematic for name in row["views"]}
    return MappingProxyType(drawn)


def position_limits_from(table: Table) -> tuple[PositionLimit, ...]:
    """Make the limits of a film's position from their TOML table."""
    return tuple(PositionLimit(**row) for row in table["limit"])


def _places(rows: list[list[float]]) -> tuple[Place, ...]:
    return tuple((float(x), float(y)) for x, y in rows)
