"""What has changed between two films of one hip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hipwright.catalog import load
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.engines.outcomes.change import Change, change_between
from hipwright.workflows.measure_hip import ReadImage


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One measurement on both films, and its change."""

    earlier: Measurement
    later: Measurement
    change: Change


def comparable_pairs(read: Sequence[ReadImage]) -> list[tuple[ReadImage, ReadImage]]:
    """Read films of one view, each with the next later one of that view; newest pair first."""
    done = [shown for shown in read if shown.reading is not None and shown.image.acquired_on]
    done.sort(key=lambda shown: (str(shown.image.acquired_on), shown.image.id))
    pairs = [
        (earlier, later)
        for number, earlier in enumerate(done)
        for later in done[number + 1 :]
        if earlier.image.view is later.image.view
        and earlier.image.acquired_on != later.image.acquired_on
    ]
    return pairs[::-1]


def compare_films(earlier: ReadImage, later: ReadImage, side: Side) -> tuple[Compared, ...]:
    """Every measurement of the hip that both films have and that can be compared."""
    catalog = load()
    first = _of_hip(earlier, side)
    found: list[Compared] = []
    for key, after in _of_hip(later, side).items():
        before = first.get(key)
        if before is None:
            continue
        try:
            change = change_between(before, after, catalog=catalog)
        except DegenerateGeometryError:
            continue  # of two views or uncalibrated films: told nowhere as a change
        found.append(Compared(earlier=before, later=after, change=change))
    return tuple(found)


def _of_hip(shown: ReadImage, side: Side) -> dict[str, Measurement]:
    return {
        found.definition: found
        for found in shown.findings
        if isinstance(found, Measurement) and found.side in {side, None}
    }
