"""How readers, and one reader's repeats, agree on a measurement."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError, HipwrightError
from hipwright.domain.keeping import Image, Reading
from hipwright.domain.measurement import Measurement, Unit
from hipwright.domain.side import Side
from hipwright.engines.outcomes.agreement import Agreement, Differences, agreement, differences
from hipwright.workflows.measure_hip import measure_landmarks

Reader = tuple[str, int]
"""An observer, and which of their readings."""

Subject = tuple[str, str]
"""A film and a side of it."""

FEWEST_SUBJECTS = 2
FEWEST_PAIRS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadersCompared:
    """One measurement as several readings have it.

    ``values`` is (subjects, readers). ``agreement`` is ``None`` where nothing differs;
    ``differences`` compares the first two readers and needs three pairs.
    """

    definition: str
    name: str
    unit: Unit
    reported_to: float
    readers: tuple[Reader, ...]
    subjects: tuple[Subject, ...]
    values: NDArray[np.float64] = field(repr=False)
    agreement: Agreement | None
    differences: Differences | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingValues:
    """What one reading measures."""

    image: str
    reader: Reader
    found: tuple[Measurement, ...]


def values_of(image: Image, readings: Iterable[Reading]) -> list[ReadingValues]:
    """Measure every reading of a film, of both hips."""
    sides = [side for side in Side if image.laterality.shows(side)]
    told: list[ReadingValues] = []
    for reading in readings:
        try:
            findings = measure_landmarks(image.film(), reading.landmarks, sides)
        except HipwrightError:
            continue  # landmarks that no longer fit a film whose details were corrected
        found = tuple(one for one in findings if isinstance(one, Measurement))
        reader = reading.landmarks.observer, reading.landmarks.reading
        told.append(ReadingValues(image=image.id, reader=reader, found=found))
    return told


def compare_readers(told: Iterable[ReadingValues]) -> tuple[ReadersCompared, ...]:
    """Agreement on every measurement that two readers have of two hips or more."""
    named: dict[str, Measurement] = {}
    tables: dict[str, dict[Subject, dict[Reader, float]]] = defaultdict(lambda: defaultdict(dict))
    for one in told:
        for found in one.found:
            subject = one.image, "" if found.side is None else found.side.value
            tables[found.definition][subject][one.reader] = found.value
            named.setdefault(found.definition, found)
    compared = (_compared(named[key], table) for key, table in tables.items())
    return tuple(one for one in compared if one is not None)


def _compared(
    found: Measurement, table: Mapping[Subject, Mapping[Reader, float]]
) -> ReadersCompared | None:
    readers = _readers(table)
    subjects = sorted(s for s, values in table.items() if all(r in values for r in readers))
    if len(readers) < FEWEST_SUBJECTS or len(subjects) < FEWEST_SUBJECTS:
        return None
    values = np.array([[table[s][r] for r in readers] for s in subjects], dtype=np.float64)
    return ReadersCompared(
        definition=found.definition,
        name=found.name,
        unit=found.unit,
        reported_to=found.reported_to,
        readers=tuple(readers),
        subjects=tuple(subjects),
        values=values,
        agreement=_agreement(values),
        differences=differences(values[:, 0], values[:, 1])
        if len(subjects) >= FEWEST_PAIRS
        else None,
    )


def _readers(table: Mapping[Subject, Mapping[Reader, float]]) -> list[Reader]:
    """The readers that most hips have in common: more hips count before more readers."""
    counts: dict[Reader, int] = defaultdict(int)
    for values in table.values():
        for reader in values:
            counts[reader] += 1
    ranked = sorted(counts, key=lambda reader: (-counts[reader], reader))
    chosen = ranked[:2]
    for reader in ranked[2:]:
        if _shared(table, [*chosen, reader]) == _shared(table, chosen):
            chosen.append(reader)
    return sorted(chosen)


def _shared(table: Mapping[Subject, Mapping[Reader, float]], readers: Sequence[Reader]) -> int:
    return sum(all(reader in values for reader in readers) for values in table.values())


def _agreement(values: NDArray[np.float64]) -> Agreement | None:
    try:
        return agreement(values)
    except DegenerateGeometryError:
        return None
