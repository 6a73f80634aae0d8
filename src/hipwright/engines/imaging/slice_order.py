"""Slices in the order of the body, and what is wrong with their spacing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hipwright.domain.errors import DegenerateGeometryError

SAME_PLACE_MM = 1e-3
"""Two slices nearer than this lie in one place."""

UNEVEN_MM = 0.05
UNEVEN_SHARE = 0.01
"""How far a distance may be from the usual one before it counts as a gap (judgment)."""

DIRECTION_NUMBERS = 6
CROOKED = 0.01
"""How far two directions may be from perpendicular unit vectors."""

SHEAR_SHARE = 0.01
"""Sideways drift per slice step from which a stack counts as tilted (judgment)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SliceStack:
    """The order of slices along their normal, and what a reader should know.

    ``order`` lists the indices of the given slices; ``spacing_mm`` is the
    usual distance, 0 for a single slice; ``repeated`` tells that two slices
    lie in one place.
    """

    order: tuple[int, ...]
    spacing_mm: float
    repeated: bool = False
    warnings: tuple[str, ...] = ()


def slice_normal(orientation: Sequence[float]) -> np.ndarray:
    """The direction in which slices follow each other (PS3.3 C.7.6.2.1.1).

    Raises
    ------
    DegenerateGeometryError
        The row and column directions are no two perpendicular unit vectors.
    """
    row, column = np.asarray(orientation[:3], float), np.asarray(orientation[3:6], float)
    lengths = (float(np.linalg.norm(row)), float(np.linalg.norm(column)))
    crooked = max(abs(float(row @ column)), *(abs(x - 1) for x in lengths))
    if len(orientation) != DIRECTION_NUMBERS or crooked > CROOKED:
        raise DegenerateGeometryError(
            "cannot order the slices",
            found=f"row and column directions of length {lengths[0]:.3f} and {lengths[1]:.3f}",
            needed="two perpendicular directions of length 1",
            next_step="Ask the sender for the series again.",
        )
    return np.cross(row, column)


def stack_of(positions_mm: Sequence[Sequence[float]], orientation: Sequence[float]) -> SliceStack:
    """Sort slices of one orientation by where they lie.

    Parameters
    ----------
    positions_mm
        Image Position (Patient) of each slice, ``patient_lps``.
    orientation
        Row and column direction, six numbers, common to all of them.
    """
    places = np.asarray(positions_mm, float).reshape(-1, 3)
    normal = slice_normal(orientation)
    along = places @ normal
    order = np.argsort(along, kind="stable")
    if len(order) == 1:
        return SliceStack(order=(0,), spacing_mm=0.0)
    steps = np.diff(along[order])
    repeated = bool((steps < SAME_PLACE_MM).any())
    forward = steps[steps >= SAME_PLACE_MM]
    if forward.size == 0:
        return SliceStack(order=tuple(map(int, order)), spacing_mm=0.0, repeated=True)
    usual = float(np.median(forward))
    warnings: list[str] = []
    allowed = max(UNEVEN_MM, UNEVEN_SHARE * usual)
    wide = forward[forward > usual + allowed]
    narrow = forward[forward < usual - allowed]
    if wide.size:
        missing = int(np.rint(wide / usual - 1).sum())
        how_many = f"about {missing} slices are missing" if missing else "the distances are uneven"
        warnings.append(
            f"The series has {wide.size} gap{'s' if wide.size > 1 else ''}: {how_many}; "
            f"slices are {usual:.2f} mm apart, the widest gap is {float(wide.max()):.2f} mm."
        )
    if narrow.size:
        warnings.append(f"{narrow.size} slices lie closer together than the usual {usual:.2f} mm.")
    drift = places[order[-1]] - places[order[0]]
    sideways = float(np.linalg.norm(drift - (drift @ normal) * normal))
    length = float(abs(drift @ normal))
    if length > 0 and sideways / length > SHEAR_SHARE:
        warnings.append("The stack is tilted: its slices are shifted sideways against each other.")
    return SliceStack(
        order=tuple(map(int, order)),
        spacing_mm=usual,
        repeated=repeated,
        warnings=tuple(warnings),
    )
