"""Cases that have been measured lately, kept in memory until a film or a reading changes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from hipwright.domain.keeping import Case
from hipwright.workflows.list_cases import CaseLine
from hipwright.workflows.ports import Keeper

if TYPE_CHECKING:
    from hipwright.workflows.measure_hip import ReadImage

MOST_CASES = 32


class ListingKeeper(Keeper, Protocol):
    """A keeper that lists its cases too."""

    def case_lines(self) -> Sequence[CaseLine]:
        """All cases."""
        ...


class MeasuredCases:
    """Measures each case once; its stamp says when that is no longer true."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._measuring: dict[str, threading.Lock] = {}
        self._kept: OrderedDict[str, tuple[str, tuple[ReadImage, ...]]] = OrderedDict()

    def of(self, keeper: ListingKeeper, case: Case) -> tuple[ReadImage, ...]:
        """Every film of the case with what was measured on it, of both hips."""
        from hipwright.workflows.measure_hip import measure_case

        stamp = line_of(keeper, case).stamp
        with self._lock:
            measuring = self._measuring.setdefault(case.id, threading.Lock())
        with measuring:  # two parts of one page ask at once: the second waits for the first
            with self._lock:
                kept = self._kept.get(case.id)
                if kept is not None and kept[0] == stamp:
                    self._kept.move_to_end(case.id)
                    return kept[1]
            read = measure_case(keeper, case, both_sides=True)
            with self._lock:
                self._kept[case.id] = stamp, read
                while len(self._kept) > MOST_CASES:
                    self._kept.popitem(last=False)
            return read


def line_of(keeper: ListingKeeper, case: Case) -> CaseLine:
    """The case as the list has it."""
    return next(line for line in keeper.case_lines() if line.id == case.id)
