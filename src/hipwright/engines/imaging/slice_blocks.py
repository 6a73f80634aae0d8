"""Places of slices to blocks on even grids, or why they make none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import VolumeError

Floats = NDArray[np.float64]

PARALLEL_DEG = 0.1
"""How far the directions of two slices may differ (judgment: headers are rounded)."""

SAME_PLACE_MM = 1e-3
APART_MM = 60.0
"""From this gap on, two stacks were scanned apart, such as hips and knees (judgment)."""

FEWEST_SLICES = 8
"""A stack scanned apart has at least so many slices (judgment)."""

OFF_GRID_MM = 0.15
"""How far a slice may lie from its even place (judgment: headers are rounded to 0.1 mm)."""

UNIT_LENGTH_TOLERANCE = 0.01
"""How far the product of two unit directions may be from a unit (they are at right angles)."""

MISSING_FROM = 1.5
"""From this multiple of the usual distance on, slices are missing rather than uneven."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SliceBlock:
    """Slices with even steps.

    Attributes
    ----------
    order
        Indices of the given slices, from below upward (or along the direction that is
        nearest to an axis of ``patient_lps``, toward its positive end).
    origin_mm, step_mm
        Place of the first one's first pixel, and the way to the next one, (3,) each.
    sideways_deg
        How far the stack leans against the normal of its slices.
    """

    order: tuple[int, ...]
    origin_mm: Floats
    step_mm: Floats
    sideways_deg: float


def blocks_of(positions_mm: Floats, orientations: Floats) -> tuple[SliceBlock, ...]:
    """Order slices by where they lie, and part stacks that were scanned apart.

    Parameters
    ----------
    positions_mm
        Image Position (Patient) of each slice, (n, 3), ``patient_lps``.
    orientations
        Row and column direction of each slice, (n, 6).

    Raises
    ------
    VolumeError
        One slice, slices that are not parallel, two in one place, missing or uneven ones.
    """
    if len(positions_mm) < 2:  # noqa: PLR2004 (a single slice has no thickness)
        raise _refused(
            f"{len(positions_mm)} slice", "at least two", "Import the whole series of slices."
        )
    normal = _common_normal(orientations)
    along = positions_mm @ normal
    order = np.argsort(along, kind="stable")
    steps = np.diff(along[order])
    if (repeats := int((steps < SAME_PLACE_MM).sum())) > 0:
        raise _refused(
            f"{repeats} slices in the place of another one",
            "one slice at each place",
            "Ask the sender for each pass or reconstruction as a series of its own.",
        )
    cuts = np.flatnonzero(steps > APART_MM) + 1
    parts = np.split(order, cuts)
    return tuple(_block(part, positions_mm, normal, others=len(parts) > 1) for part in parts)


def _common_normal(orientations: Floats) -> Floats:
    across, down = orientations[:, :3], orientations[:, 3:]
    normals = np.cross(across, down)
    lengths = np.linalg.norm(normals, axis=1)
    if not np.isfinite(lengths).all() or (np.abs(lengths - 1.0) > UNIT_LENGTH_TOLERANCE).any():
        raise _refused(
            "rows and columns of a slice that are not at right angles",
            "two perpendicular unit directions",
            "Ask the sender for the original series.",
        )
    turned = max(_widest_deg(across), _widest_deg(down))
    if turned > PARALLEL_DEG:
        raise _refused(
            f"slices turned against each other by up to {turned:.1f}°",
            f"parallel slices (within {PARALLEL_DEG}°)",
            "Read a series of turned slices picture by picture, or import an axial series.",
        )
    mean = normals.mean(axis=0)
    normal = mean / np.linalg.norm(mean)
    return normal if normal[np.argmax(np.abs(normal))] > 0 else -normal


def _widest_deg(directions: Floats) -> float:
    cosines = np.clip(directions @ directions[0], -1.0, 1.0)
    return float(np.degrees(np.arccos(cosines.min())))


def _block(
    part: NDArray[np.int64], positions_mm: Floats, normal: Floats, *, others: bool
) -> SliceBlock:
    places = positions_mm[part]
    if len(part) < (FEWEST_SLICES if others else 2):
        raise _refused(
            f"{len(part)} slices {_at(places[0], normal)} apart from the others",
            f"one stack, or stacks of at least {FEWEST_SLICES} slices each",
            "Import the missing slices, or the series without the stray ones.",
        )
    along = places @ normal
    steps = np.diff(along)
    usual = float(np.median(steps))
    wide = np.flatnonzero(steps > MISSING_FROM * usual)
    if wide.size:
        missing = int(np.rint(steps[wide] / usual - 1).sum())
        where = ", ".join(
            f"between {along[i]:.1f} and {along[i + 1]:.1f} mm" for i in wide[:3]
        ) + (" and elsewhere" if len(wide) > 3 else "")  # noqa: PLR2004 (places named)
        many = "1 slice" if missing == 1 else f"{missing} slices"
        raise _refused(
            f"{many} missing {where} along the stack (slices are {usual:.2f} mm apart)",
            "every slice of the stack",
            "Import the missing slices: they are added to the series.",
        )
    step = (places[-1] - places[0]) / (len(places) - 1)
    even = places[0] + np.arange(len(places))[:, None] * step
    off = float(np.linalg.norm(places - even, axis=1).max())
    if off > OFF_GRID_MM:
        raise _refused(
            f"slices up to {off:.2f} mm off their even places ({usual:.2f} mm apart)",
            f"even distances (within {OFF_GRID_MM} mm)",
            "Ask the sender for a reconstruction with even slices.",
        )
    cosine = float(step @ normal / np.linalg.norm(step))
    lean = float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))
    order = tuple(int(i) for i in part)
    return SliceBlock(order=order, origin_mm=places[0].copy(), step_mm=step, sideways_deg=lean)


def _at(place: Floats, normal: Floats) -> str:
    return f"at {float(place @ normal):.1f} mm"


def _refused(found: str, needed: str, next_step: str) -> VolumeError:
    return VolumeError(
        "cannot make a volume of the series", found=found, needed=needed, next_step=next_step
    )
