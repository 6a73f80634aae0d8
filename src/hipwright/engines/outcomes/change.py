"""Change between two films of one hip: more than repeat readings differ by, or not."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hipwright.catalog import Catalog
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.evidence import Citation, Seen
from hipwright.domain.measurement import Measurement, Unit
from hipwright.engines.outcomes.agreement import Agreement

OWN = Citation(
    id="own_readings",
    text="Repeat readings of this practice.",
    identifier="url:practice",
    seen=Seen.DERIVED,
)
FROM_INTERVALS = Citation(
    id="propagated_doubt",
    text="The intervals of the two values; no published smallest detectable change.",
    identifier="url:docs/explanation/doubt.md",
    seen=Seen.DERIVED,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Later value less earlier one, with what repeat readings of one film differ by."""

    definition: str
    difference: float
    unit: Unit
    smallest_detectable_change: float
    source: Citation
    notes: tuple[str, ...] = ()

    @property
    def is_beyond_doubt(self) -> bool:
        """Whether the difference exceeds the smallest detectable change."""
        return abs(self.difference) > self.smallest_detectable_change

    def in_words(self) -> str:
        """Write it for a reader: ``+6.2°, more than repeat readings differ by (5.0°)``."""
        label = self.unit.label
        relation = "more than" if self.is_beyond_doubt else "within what"
        words = f"{self.difference:+.{_decimals(self)}f}{label}, {relation} repeat readings "
        return f"{words}differ by ({self.smallest_detectable_change:.{_decimals(self)}f}{label})"


def _decimals(change: Change) -> int:
    return 2 if change.unit is Unit.ONE else 1


def change_between(
    earlier: Measurement,
    later: Measurement,
    *,
    catalog: Catalog,
    own: Agreement | None = None,
) -> Change:
    """Compare two films of one hip by the same construction.

    Parameters
    ----------
    earlier, later
        The two values.
    catalog
        For the published smallest detectable change.
    own
        The practice's own agreement for this measurement, where it is known: it then counts.

    Returns
    -------
    Change
        Against the practice's own, else the published, else the smallest detectable change
        that follows from the two intervals.

    Raises
    ------
    DegenerateGeometryError
        Two constructions, hips, views or units, or lengths of uncalibrated films.
    """
    _require_comparable(earlier, later)
    entry = catalog.measurement(earlier.definition)
    published = entry.smallest_detectable_change()
    if own is not None:
        limit, source = own.smallest_detectable_change, OWN
    elif published is not None and published.smallest_detectable_change is not None:
        limit = published.smallest_detectable_change
        source = catalog.reference(published.cite).citation()
    else:
        limit, source = _from_intervals(earlier, later), FROM_INTERVALS
    return Change(
        definition=earlier.definition,
        difference=later.value - earlier.value,
        unit=earlier.unit,
        smallest_detectable_change=limit,
        source=source,
        notes=tuple(_notes(earlier, later)),
    )


def _require_comparable(earlier: Measurement, later: Measurement) -> None:
    for name in ("definition", "side", "view", "unit"):
        one, other = getattr(earlier, name), getattr(later, name)
        if one != other:
            raise _refused(f"{name} {one} and {other}", "the same construction of the same hip")
    if earlier.unit is Unit.PIXEL:
        raise _refused("lengths in pixels of two films", "calibrated films")


def _from_intervals(earlier: Measurement, later: Measurement) -> float:
    """Half-widths of two independent intervals add up like their errors."""
    halves = [(m.estimate.high - m.estimate.low) / 2 for m in (earlier, later)]
    return math.hypot(*halves)


def _notes(earlier: Measurement, later: Measurement) -> list[str]:
    notes: list[str] = []
    if earlier.observer != later.observer:
        notes.append("read by two observers: their own offset is part of the difference")
    if earlier.baseline.split(";")[0] != later.baseline.split(";")[0]:
        notes.append(f"leveled differently: {earlier.baseline}, then {later.baseline}")
    return notes


def _refused(found: str, needed: str) -> DegenerateGeometryError:
    return DegenerateGeometryError(
        "cannot compare two measurements",
        found=found,
        needed=needed,
        next_step="Measure both films by the same entry of the catalog.",
    )
