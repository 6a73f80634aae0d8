"""The pelvis's own tilt, and what changes with it."""

from __future__ import annotations

from dataclasses import dataclass

from hipwright.apps.web.bones.at_hand import STANDING, SUPINE, MeasuredSide
from hipwright.domain.keeping_bones import BoneReading
from hipwright.domain.measurement import Finding, Measurement
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit, written
from hipwright.workflows.show_bones import tilt_in_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One value in the anterior pelvic plane and at the tilts that were given."""

    id: str
    name: str
    flat: str
    interval: str
    at: tuple[tuple[str, str, str], ...]
    words: tuple[tuple[str, str], ...]


def tilt_words(reading: BoneReading | None) -> tuple[tuple[str, str], ...]:
    """The tilts that were given, as posture and words."""
    if reading is None:
        return ()
    given = ((STANDING, reading.standing_tilt_deg), (SUPINE, reading.supine_tilt_deg))
    return tuple((posture, tilt_in_words(tilt)) for posture, tilt in given if tilt is not None)


def changes_with_tilt(side: MeasuredSide) -> tuple[Change, ...]:
    """Every single value that changes, with what it becomes and how far that is from it."""
    if not side.tilted:
        return ()
    changes: list[Change] = []
    for found in side.findings:
        if not isinstance(found, Measurement) or found.hour is not None:
            continue
        becomes = [
            (posture, other)
            for posture, findings in side.tilted.items()
            if isinstance(other := _same(found, findings), Measurement)
        ]
        if becomes:
            changes.append(_change(found, becomes))
    return tuple(changes)


def _change(found: Measurement, becomes: list[tuple[str, Measurement]]) -> Change:
    unit = found.unit.label
    return Change(
        id=found.definition,
        name=found.name,
        flat=value_with_unit(found),
        interval=interval_in_words(found),
        at=tuple(
            (posture, value_with_unit(other), _signed(other.value - found.value, found) + unit)
            for posture, other in becomes
        ),
        words=tuple(
            (posture, other.classification.in_words())
            for posture, other in becomes
            if other.classification is not None
            and found.classification is not None
            and other.classification.name != found.classification.name
        ),
    )


def _signed(step: float, found: Measurement) -> str:
    text = written(step, found.reported_to)
    return text if text.startswith("\N{MINUS SIGN}") else f"+{text}"


def _same(found: Measurement, findings: tuple[Finding, ...]) -> Finding | None:
    return next(
        (f for f in findings if f.definition == found.definition and f.hour == found.hour), None
    )
