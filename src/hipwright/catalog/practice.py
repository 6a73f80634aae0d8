"""A practice's own thresholds, laid over the shipped ones and dated."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from hipwright.catalog.entries import Band, MeasurementDefinition, Reference, ReferenceRange
from hipwright.domain.errors import CatalogError
from hipwright.domain.evidence import Seen
from hipwright.domain.study import View

Table = Mapping[str, Any]

PRACTICE = "practice"
ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


def range_from(row: Table) -> ReferenceRange:
    """Make one reference range from its TOML table."""
    return ReferenceRange(
        scheme=row["scheme"],
        bands=tuple(Band(**band) for band in row["bands"]),
        cite=row["cite"],
        variant=row["variant"],
        views=tuple(View(name) for name in row.get("views", ())),
        sex=row.get("sex", ""),
        settles=row.get("settles", ""),
        note=row.get("note", ""),
        decided_on=row.get("decided_on", ""),
    )


def with_practice_ranges(
    overrides: Table,
    measurements: Mapping[str, MeasurementDefinition],
    references: Mapping[str, Reference],
) -> tuple[Mapping[str, MeasurementDefinition], Mapping[str, Reference]]:
    """Lay a practice's own ranges before the published ones.

    Parameters
    ----------
    overrides
        ``{"range": [...]}``: each with ``measurement``, ``decided_on`` (a date), ``bands``
        as in the catalog, and if wanted ``reason``, ``views``, ``sex`` and ``settles``.
    measurements, references
        The shelf as shipped; it stays as it is.

    Returns
    -------
    tuple
        Measurements and references with the practice's own in front, so that values are
        classed by them; the published ranges stay to be seen.

    Raises
    ------
    CatalogError
        An unknown measurement, no date, or bands with gaps.
    """
    new_measurements = dict(measurements)
    new_references = dict(references)
    for row in overrides.get("range", ()):
        entry = new_measurements.get(row.get("measurement", ""))
        if entry is None:
            raise _refused(f"the measurement {row.get('measurement')!r}", "an id of the catalog")
        decided = str(row.get("decided_on", ""))
        if not ISO_DATE.fullmatch(decided):
            raise _refused(f"decided_on = {decided!r}", "the date of the decision, as 2026-01-31")
        if not row.get("bands"):
            raise _refused("no bands", "bands that follow each other from -inf to inf")
        source = _source(decided, row.get("reason", ""))
        new_references[source.id] = source
        own = range_from(
            {
                "scheme": f"This practice, {decided}",
                "variant": "this",
                **row,
                "decided_on": decided,
            }
            | {"cite": source.id, "note": row.get("reason", "")}
        )
        ranges = (own, *entry.reference_ranges)
        new_measurements[entry.id] = replace(entry, reference_ranges=ranges)
    return MappingProxyType(new_measurements), MappingProxyType(new_references)


def _source(decided: str, reason: str) -> Reference:
    return Reference(
        id=f"{PRACTICE}_{decided}",
        text=f"Set by this practice on {decided}." + (f" {reason}" if reason else ""),
        identifier=f"url:{PRACTICE}",
        seen=Seen.JUDGMENT,
        year=int(decided[:4]),
    )


def _refused(found: str, needed: str) -> CatalogError:
    return CatalogError(
        "cannot use the practice's own ranges",
        found=found,
        needed=needed,
        next_step="Correct the practice's file of ranges.",
        field="range",
    )
