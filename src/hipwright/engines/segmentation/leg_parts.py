"""Femur and tibia in a block that was scanned apart, at the knees or the ankles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.segmentation import (
    watershed,  # pyright: ignore[reportUnknownVariableType] (scikit-image has no types here)
)

from hipwright.domain.anatomy import Bone, Remark, Severity
from hipwright.domain.errors import SegmentationError
from hipwright.domain.volume import LabelEdits, LabelVolume, Volume
from hipwright.engines.imaging.block_means import block_shape, coarsened
from hipwright.engines.imaging.upright_volume import UprightVolume, upright
from hipwright.engines.segmentation.labels import COARSE_MM, levels_of
from hipwright.engines.segmentation.segmentation import Head, Segmentation, TissueLevels

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Progress = Callable[[str, int, int], None]

KNEE, ANKLE = "knee", "ankle"
ANKLE_FROM_MM = 600.0
"""A block whose middle lies so far below the heads is at the ankles (judgment: femora of
grown-ups are 370 to 520 mm long)."""

SMALLEST_MM3 = 8000.0
"""A shaft end is larger than what it is told from: kneecap, fibula, foot bones (judgment)."""

FAR_FROM_LEG_MM = 130.0
"""A bone lies within this much of the head's sagittal plane (judgment)."""

STEPS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """One connected piece of bone: its label, size, sagittal place, and whether it runs out."""

    number: int
    volume_mm3: float
    x_mm: float
    reaches_top: bool
    reaches_bottom: bool


def segment_leg_part(
    volume: Volume,
    heads: tuple[Head, ...],
    *,
    edits: LabelEdits | None = None,
    progress: Progress | None = None,
) -> Segmentation:
    """Tell femora and tibiae in a block below the hips.

    The shaft that runs out of the block above is the femur at the knee and the tibia at the
    ankle; the largest other one at the knee that runs out below is the tibia. Sides go by the
    heads of the same scan.

    Parameters
    ----------
    volume
        A block of the scan whose hips gave the heads.
    heads
        The heads of the same scan, at least one.
    edits
        Painted voxels outrank what is found; cuts and seeds are not used here.

    Raises
    ------
    SegmentationError
        No head is known, or no shaft runs out of the block.
    """
    tell = progress or _silent
    if not heads:
        raise _refused("no femoral head in the scan", "the hips of the same scan")
    tell("setting the block upright", 0, STEPS)
    field = upright(volume.values, volume.grid)
    block = block_shape(field.spacing_mm, COARSE_MM)
    levels = levels_of(field, coarsened(field.values, block), block)
    tell("filling the shafts", 1, STEPS)
    solid = field.values > levels.threshold_hu
    for index in range(len(solid)):
        solid[index] = ndimage.binary_fill_holes(solid[index])
    tell("telling the bones apart", 2, STEPS)
    part = _part(volume, heads)
    named, remarks = _named(solid, field, heads, part)
    codes = np.zeros(solid.shape, np.uint8)
    for bone, mask in named.items():
        codes[mask] = bone.code
    home = field.brought_home(codes)
    if edits is not None:
        home.ravel()[edits.voxels] = edits.codes
    tell("done", STEPS, STEPS)
    bones = frozenset(named)
    return Segmentation(
        labels=LabelVolume(codes=home, grid=volume.grid),
        levels=TissueLevels(
            soft_hu=levels.soft_hu,
            cortex_hu=levels.cortex_hu,
            noise_hu=levels.noise_hu,
            threshold_hu=levels.threshold_hu,
            blur_mm=0.5,
            slice_blur_mm=float(field.spacing_mm[0] / np.sqrt(12.0)),
        ),
        remarks=remarks,
        part=part,
        cut_high=bones,
    )


def _silent(_what: str, _done: int, _all: int) -> None:
    return None


def _part(volume: Volume, heads: tuple[Head, ...]) -> str:
    middle = volume.grid.to_mm((np.array(volume.grid.shape) - 1) / 2)
    below = float(np.mean([head.center_mm[2] for head in heads])) - float(middle[2])
    return ANKLE if below > ANKLE_FROM_MM else KNEE


def _named(
    solid: Flags, field: UprightVolume, heads: tuple[Head, ...], part: str
) -> tuple[dict[Bone, Flags], tuple[Remark, ...]]:
    """The bones of each side as masks, and what could not be told."""
    count, pieces = _pieces(solid, field)
    named: dict[Bone, Flags] = {}
    remarks: list[Remark] = []
    for head in heads:
        own = [
            p
            for p in pieces
            if abs(p.x_mm - head.center_mm[0]) < FAR_FROM_LEG_MM
            and min(heads, key=lambda h, p=p: abs(p.x_mm - h.center_mm[0])) is head
        ]
        femur, tibia = head.femur, Bone(head.femur.value.replace("femur", "tibia"))
        from_above = _largest([p for p in own if p.reaches_top])
        if from_above is None:
            remarks.append(_absent(femur if part == KNEE else tibia, part))
        elif part == ANKLE:
            named[tibia] = count == from_above.number
        else:
            from_below = _largest([p for p in own if p.reaches_bottom and p is not from_above])
            mask = count == from_above.number
            if from_above.reaches_bottom:
                mask, rest = _parted(mask, field.spacing_mm)
                named[tibia] = rest
                remarks.append(_fused(femur))
            elif from_below is not None:
                named[tibia] = count == from_below.number
            named[femur] = mask
    if not named:
        raise _refused("no shaft that runs out of the block above", f"a block at the {part}s")
    return named, tuple(remarks)


def _pieces(solid: Flags, field: UprightVolume) -> tuple[NDArray[np.int32], list[_Piece]]:
    numbers = np.zeros(solid.shape, np.int32)
    found: int = ndimage.label(solid, output=numbers)
    sizes = np.bincount(numbers.ravel(), minlength=found + 1) * float(np.prod(field.spacing_mm))
    top, bottom = set(np.unique(numbers[-1]).tolist()), set(np.unique(numbers[0]).tolist())
    pieces: list[_Piece] = []
    for number in np.flatnonzero(sizes >= SMALLEST_MM3):
        if number == 0:
            continue
        middle = np.array([float(axis.mean()) for axis in np.nonzero(numbers == number)])
        place = field.to_patient((middle * field.spacing_mm)[::-1])
        pieces.append(
            _Piece(
                number=int(number),
                volume_mm3=float(sizes[number]),
                x_mm=float(place[0]),
                reaches_top=int(number) in top,
                reaches_bottom=int(number) in bottom,
            )
        )
    return numbers, pieces


def _largest(pieces: list[_Piece]) -> _Piece | None:
    return max(pieces, key=lambda p: p.volume_mm3, default=None)


def _parted(mask: Flags, spacing_mm: Floats) -> tuple[Flags, Flags]:
    """Part a piece that runs from end to end where it is thinnest between its ends."""
    depth: Floats = ndimage.distance_transform_edt(mask, sampling=tuple(spacing_mm.tolist()))
    ends = np.zeros(mask.shape, np.int32)
    ends[-1][mask[-1]] = 1
    ends[0][mask[0]] = 2
    flooded: Any = watershed  # pyright: ignore[reportUnknownVariableType] (no types here)
    part: NDArray[np.int32] = flooded(-depth, ends, mask=mask)
    return part == 1, part == 2  # noqa: PLR2004 (the two ends)


def _absent(bone: Bone, part: str) -> Remark:
    return Remark(
        code="leg_part_absent",
        severity=Severity.WARNING,
        text=f"No shaft was found in the block at the {part}s: nothing is measured from it.",
        bone=bone,
    )


def _fused(femur: Bone) -> Remark:
    return Remark(
        code="knee_parted",
        severity=Severity.WARNING,
        text="Femur and tibia touch at the knee and were parted where they are thinnest: look "
        "at the condyles before version is used.",
        bone=femur,
    )


def _refused(found: str, needed: str) -> SegmentationError:
    return SegmentationError(
        "cannot find bones in the block below the hips",
        found=found,
        needed=needed,
        next_step="Make the bones from the series of the hips alone.",
        field="volume",
    )
