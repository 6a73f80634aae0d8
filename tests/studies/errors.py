"""What a perfect reading measures, less what is true: the error of film and construction."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from hipwright.catalog import load
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.measurement.doubt import Doubt
from hipwright.phantoms.people import Person
from tests.golden.readings_of_phantoms import findings_of
from tests.studies.perfect_readings import PerfectReading, Position, read_person
from tests.studies.space_truth import SLOPES, Key, space_truth

FEW = Doubt(draws=20)
IN_SPACE = ("neck_shaft_angle", "in space")
Row = tuple[str, View, str]
"""Catalog id, view, and against what: ``""`` or a word."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Error:
    """One value against its truth; ``row`` is what it is reported under."""

    row: Row
    who: str
    neutral: bool
    value: float
    truth: float

    @property
    def off(self) -> float:
        return self.value - self.truth


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A perfect reading with what it measures and what is true in space."""

    reading: PerfectReading
    values: Mapping[Key, Measurement]
    truth: Mapping[Key, float]


def measured(reading: PerfectReading) -> dict[Key, Measurement]:
    """What a perfect reading measures."""
    found = findings_of(reading.film, reading.landmarks, doubt=FEW)
    return {key: value for key, value in found.items() if isinstance(value, Measurement)}


def measure_person(
    who: str,
    person: Person,
    positions: Iterable[Position],
    *,
    slopes: Mapping[Side, float] = SLOPES,
) -> tuple[list[Measured], list[Error], list[Error]]:
    """All films of a person: readings, errors against space, errors against a plain projection."""
    plain: dict[tuple[View, Key], float] = {}
    for reading in read_person(who, person, Position(), parallel=True, scar_slopes_deg=slopes):
        plain |= {(reading.view, key): m.value for key, m in measured(reading).items()}
    readings: list[Measured] = []
    space: list[Error] = []
    projected: list[Error] = []
    for position in positions:
        for reading in read_person(who, person, position, scar_slopes_deg=slopes):
            values = measured(reading)
            truth = space_truth(person, reading, slopes=slopes)
            readings.append(Measured(reading=reading, values=values, truth=truth))
            space += _against_space(person, reading, values, truth)
            projected += _against_projection(reading, values, plain)
    return readings, space, projected


def _against_space(
    person: Person,
    reading: PerfectReading,
    values: Mapping[Key, Measurement],
    truth: Mapping[Key, float],
) -> Iterator[Error]:
    about = {"who": reading.who, "neutral": reading.position.is_neutral}
    for key, true in truth.items():
        if key in values:
            row = (key[0], reading.view, "")
            yield Error(row=row, value=values[key].value, truth=true, **about)
    name, words = IN_SPACE
    for side in reading.sides:
        if (name, side) in values:
            true = person.truth.hip(side).neck_shaft_deg
            row = (name, reading.view, words)
            yield Error(row=row, value=values[name, side].value, truth=true, **about)


def _against_projection(
    reading: PerfectReading,
    values: Mapping[Key, Measurement],
    plain: Mapping[tuple[View, Key], float],
) -> Iterator[Error]:
    for key, value in values.items():
        true = plain.get((reading.view, key))
        if true is not None:
            yield Error(
                row=(key[0], reading.view, ""),
                who=reading.who,
                neutral=reading.position.is_neutral,
                value=value.value,
                truth=true,
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Errors of one row, in the unit of the entry."""

    count: int
    bias: float
    sd: float
    worst: float


def summaries(errors: Iterable[Error]) -> dict[tuple[Row, bool], Summary]:
    """By row and by whether the pelvis lay in neutral."""
    grouped: dict[tuple[Row, bool], list[float]] = defaultdict(list)
    for error in errors:
        grouped[error.row, error.neutral].append(error.off)
    return {
        key: Summary(
            count=len(off),
            bias=float(np.mean(off)),
            sd=float(np.std(off)),
            worst=float(max(off, key=abs)),
        )
        for key, off in grouped.items()
    }


def in_catalog_order(rows: Iterable[Row]) -> list[Row]:
    """Rows in the order of the catalog, then by view."""
    order = {name: place for place, name in enumerate(load().measurements)}
    return sorted(rows, key=lambda row: (order[row[0]], row[1].value, row[2]))
