"""Edits on their way: every state since the page was opened, until it is left or they are kept.

The edits are sparse: painted voxels over labels that nobody changes. So a state is small, and
undoing is going back to the one before.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, field

from hipwright.domain.volume import LabelEdits

MOST_STATES = 60
MOST_DESKS = 8


@dataclass
class WorkingEdits:
    """One browser page's edits of one series.

    ``version`` is the kept version they started from; ``kept`` the state that is kept.
    """

    states: list[LabelEdits]
    version: int
    at: int = 0
    kept: LabelEdits = field(init=False)
    number: int = 0

    def __post_init__(self) -> None:
        self.kept = self.states[0]

    @property
    def now(self) -> LabelEdits:
        """The state that is shown."""
        return self.states[self.at]

    @property
    def is_dirty(self) -> bool:
        """Whether the shown state is not kept."""
        return self.now is not self.kept

    @property
    def can_undo(self) -> bool:
        """Whether there is a state before."""
        return self.at > 0

    @property
    def can_redo(self) -> bool:
        """Whether a state was undone."""
        return self.at + 1 < len(self.states)

    def push(self, state: LabelEdits) -> None:
        """Take a new state; what was undone before is gone, the oldest states too."""
        self.states = [*self.states[: self.at + 1], state][-MOST_STATES:]
        self.at = len(self.states) - 1
        self.number += 1

    def undo(self) -> None:
        """Go back by one state."""
        self.at = max(self.at - 1, 0)
        self.number += 1

    def redo(self) -> None:
        """Go forward again by one state."""
        self.at = min(self.at + 1, len(self.states) - 1)
        self.number += 1

    def is_kept_as(self, state: LabelEdits, version: int) -> None:
        """A state is kept now, under that version."""
        self.kept, self.version = state, version


class EditDesks:
    """The edits under way, by series and page; the one longest untouched goes first."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._desks: OrderedDict[tuple[str, str], WorkingEdits] = OrderedDict()

    def find(self, image: str, desk: str) -> WorkingEdits | None:
        """The edits of a page, if it has begun."""
        with self._lock:
            found = self._desks.get((image, desk))
            if found is not None:
                self._desks.move_to_end((image, desk))
            return found

    def begin(self, image: str, desk: str, start: LabelEdits, version: int) -> WorkingEdits:
        """Begin a page's edits from what is kept; a page that has begun goes on."""
        with self._lock:
            found = self._desks.setdefault(
                (image, desk), WorkingEdits(states=[start], version=version)
            )
            self._desks.move_to_end((image, desk))
            self._make_room()
            return found

    def _make_room(self) -> None:
        spare = [key for key, edits in self._desks.items() if not edits.is_dirty]
        for key in spare[: max(len(self._desks) - MOST_DESKS, 0)]:
            del self._desks[key]
