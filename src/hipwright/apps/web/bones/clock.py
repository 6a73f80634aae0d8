"""Clock faces of the values by hour, and the same as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from hipwright.adapters.documents.clock_svg import clock_svg
from hipwright.apps.web.bones.at_hand import MeasuredBones
from hipwright.apps.web.bones.measuring import side_of
from hipwright.catalog import Catalog
from hipwright.domain.measurement import Finding, Measurement
from hipwright.domain.side import Side
from hipwright.engines.reporting.bone_clock import clock_face
from hipwright.engines.reporting.bone_tables import series_of
from hipwright.engines.reporting.numbers import hour_in_words, interval_in_words, value_with_unit


@dataclass(frozen=True, slots=True, kw_only=True)
class HourCell:
    """One hip's value at one hour."""

    text: str
    interval: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HourRow:
    """One hour of the table."""

    hour: float
    name: str
    own: HourCell | None
    other: HourCell | None


def clock_parts(
    measured: MeasuredBones, side: Side, catalog: Catalog, *, shown: str, sex: str | None
) -> dict[str, Any]:
    """The face that is shown, the choice of others, and the table."""
    own = side_of(measured, side).findings
    other = side_of(measured, side.opposite).findings
    entries = series_of([*own, *other], catalog)
    chosen = next((e for e in entries if e.id == shown), entries[0] if entries else None)
    if chosen is None:
        return {"entries": (), "chosen": None, "svg": "", "rows": (), "thresholds": ()}
    hips = [(_hip_name(side), own), (_hip_name(side.opposite), other)]
    face = clock_face(chosen, hips, sex=sex)
    return {
        "entries": entries,
        "chosen": chosen,
        "svg": "" if face is None else Markup(clock_svg(face)),  # noqa: S704 (our own SVG, its texts escaped)
        "thresholds": () if face is None else [r for r in face.rings if r.threshold],
        "rows": _rows(chosen.id, chosen.hours, own, other),
    }


def _hip_name(side: Side) -> str:
    return f"{side.value.capitalize()} hip"


def _rows(
    definition: str, hours: Sequence[float], own: Sequence[Finding], other: Sequence[Finding]
) -> tuple[HourRow, ...]:
    mine, theirs = _by_hour(definition, own), _by_hour(definition, other)
    ordered = sorted(hours, key=lambda hour: hour % 12)
    return tuple(
        HourRow(hour=h, name=hour_in_words(h), own=mine.get(h), other=theirs.get(h))
        for h in ordered
        if h in mine or h in theirs
    )


def _by_hour(definition: str, findings: Sequence[Finding]) -> dict[float, HourCell]:
    return {
        found.hour: HourCell(
            text=value_with_unit(found),
            interval=interval_in_words(found),
            words="" if found.classification is None else found.classification.in_words(),
        )
        for found in findings
        if isinstance(found, Measurement) and found.definition == definition and found.hour
    }
