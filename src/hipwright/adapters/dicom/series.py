"""Slices of one series: parted by direction and pass, put in order."""

from __future__ import annotations

from collections.abc import Sequence

from hipwright.adapters.dicom.reading_room import ReadFile
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.keeping import ImageKind
from hipwright.engines.imaging.slice_order import stack_of

POSITION_NUMBERS, ORIENTATION_NUMBERS = 3, 6
DIRECTION_DIGITS = 3
FEWEST_TURNING = 3
"""Slices of as many directions are one turning series; fewer are overview pictures."""

Entry = tuple[ReadFile, tuple[int, int]]
"""A file that was read, and its place in the spool."""

Stack = tuple[list[Entry], tuple[str, ...]]
"""Entries in order, and what to say about them."""


def stacks_of(files: list[Entry]) -> list[Stack]:
    """Images of one series, each in order: one, or more where directions or passes differ."""
    if files[0][0].kind is not ImageKind.SERIES:
        return [(files, ())]
    unplaced = [entry for entry in files if not _is_placed(entry[0])]
    if unplaced:
        note = () if len(files) == 1 else ("The slices do not say where they lie: not ordered.",)
        return [(_by_number(files), note)]
    directions: dict[tuple[float, ...], list[Entry]] = {}
    for entry in files:
        key = tuple(round(x, DIRECTION_DIGITS) for x in entry[0].orientation)
        directions.setdefault(key, []).append(entry)
    if len(directions) >= FEWEST_TURNING and all(len(part) == 1 for part in directions.values()):
        return [
            (_by_number(files), ("Every slice has its own direction: in the sender's order.",))
        ]
    return [stack for part in directions.values() for stack in _stacked(part)]


def _is_placed(file: ReadFile) -> bool:
    return len(file.position) == POSITION_NUMBERS and len(file.orientation) == ORIENTATION_NUMBERS


def _by_number(files: Sequence[Entry]) -> list[Entry]:
    return sorted(files, key=lambda entry: entry[0].instance or 0.0)


def _stacked(part: list[Entry]) -> list[Stack]:
    """Slices of one direction; several passes in one place are told apart if possible."""
    try:
        whole = stack_of([file.position for file, _ in part], part[0][0].orientation)
    except DegenerateGeometryError as problem:
        return [(part, (str(problem),))]
    if not whole.repeated:
        return [([part[i] for i in whole.order], whole.warnings)]
    for attribute in range(len(part[0][0].parting)):
        passes: dict[object, list[Entry]] = {}
        for entry in part:
            passes.setdefault(entry[0].parting[attribute], []).append(entry)
        if len(passes) > 1:
            ordered = [_ordered(one, len(passes)) for one in passes.values()]
            if all(stack is not None for stack in ordered):
                return [stack for stack in ordered if stack is not None]
    warning = "Several slices lie in one place and nothing tells them apart."
    return [([part[i] for i in whole.order], (warning,))]


def _ordered(entries: list[Entry], passes: int) -> Stack | None:
    stack = stack_of([file.position for file, _ in entries], entries[0][0].orientation)
    if stack.repeated:
        return None
    note = f"One of {passes} passes of the same series."
    return [entries[i] for i in stack.order], (note, *stack.warnings)
