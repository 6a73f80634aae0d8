"""What was changed about a case, its person and its images, newest first, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from hipwright.domain.keeping import Case, Change
from hipwright.domain.study import VIEW_NAMES
from hipwright.workflows.ports import Keeper

FIELDS = {
    "summary": "the case in a line",
    "view": "view",
    "laterality": "hips shown",
    "posture": "posture",
    "calibration": "scale",
    "patient_right_at_image_left": "mirroring",
    "anterior_at_image_right": "where the front is",
    "phase": "phase",
    "confirmed": "agreed by a reader",
    "warnings": "warnings",
    "sex": "sex",
    "birth_date_shifted": "birth date",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of the history."""

    at: datetime
    by: str
    what: str


def history_of(keeper: Keeper, case: Case) -> list[Entry]:
    """Everything that happened to the case."""
    entries = [
        *_changes(keeper.history_of(case.id), "Case opened", "Case changed"),
        *_changes(keeper.history_of(case.person), "Person entered", "Person changed"),
    ]
    for image in keeper.images_of(case.person):
        name = VIEW_NAMES[image.view]
        changes = keeper.history_of(image.id)
        entries += _changes(changes, f"{name} taken in", f"{name} changed")
        for kept in keeper.readings_of(image.id):
            marks = kept.landmarks
            for version in keeper.reading_history(image.id, marks.observer, marks.reading):
                what = f"{name} read (reading {marks.reading}, version {version.version})"
                entries.append(Entry(at=version.saved_at, by=marks.observer, what=what))
    for grade in keeper.grades_of(case.id):
        what = f"Graded: {grade.definition.replace('_', ' ')} {grade.value}"
        entries.append(Entry(at=grade.saved_at, by=grade.observer, what=what))
    return sorted(entries, key=lambda entry: entry.at, reverse=True)


def _changes(changes: Iterable[Change], first: str, later: str) -> Iterator[Entry]:
    for change in changes:
        fields = [FIELDS.get(name, name) for name in change.after]
        what = first if change.version == 1 else f"{later}: {', '.join(fields)}"
        yield Entry(at=change.at, by=change.by, what=what)
