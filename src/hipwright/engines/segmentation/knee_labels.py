"""A block at the knee or ankle: the ends of femora and tibiae, told apart by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import SegmentationError
from hipwright.engines.imaging.block_means import (
    block_shape,
    block_shares,
    coarse_shape,
    coarsened,
)
from hipwright.engines.imaging.tissue_levels import BODY_HU, GrayLevels
from hipwright.engines.segmentation.bone_graph import (
    VALLEY_SHARE,
    block_valleys,
    linked,
    nodes_of,
)
from hipwright.engines.segmentation.flooding import UNSURE
from hipwright.engines.segmentation.random_walk import walked
from hipwright.engines.segmentation.rough_labels import (
    LEAST_SHARE,
    MARROW_SHARE,
    NODE_MM,
    NOISE_DEPTHS,
    SURE_LEAD,
    RoughLabels,
    others_named,
    unsure_at_borders,
    valley_reach,
)

Codes = NDArray[np.uint8]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

END_MM = 14.0
"""How deep at either end of the block the markers reach."""

SHAFT_MM2 = 150.0
"""Least area of bone, marrow included, that a shaft has in a slice (judgment)."""

SECOND_MM2 = 40.0
"""Least area of a smaller bone beside it (a fibula)."""

LEGS_APART_MM = 60.0
LONGEST, FULL_SHARE_OF_DISC = 2.0, 0.7
"""A shaft's outline is round: a wing of the ilium is not (judgment)."""

WIDEST_LEG_MM = 240.0
"""A single outline in a wider body, or in one that fills the field, is no leg but a spine
(judgment)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LegEnd:
    """One shaft at one end of the block.

    Attributes
    ----------
    x_mm
        Where it lies.
    at, beside
        Its blocks (y, x); those of smaller bones of the same leg.
    """

    x_mm: float
    at: NDArray[np.intp]
    beside: tuple[NDArray[np.intp], ...]


def shafts_at(bone: Flags, step_mm: Floats, *, top: bool) -> list[LegEnd]:
    """The largest outline of each leg at an end of the block, right before left.

    Parameters
    ----------
    bone
        Blocks that hold bone (z, y, x).
    step_mm
        Their spacing along x, y, z.
    top
        At the upper end or at the lower one.
    """
    filled = np.asarray(ndimage.binary_fill_holes(bone[-1] if top else bone[0]))
    labels, count = ndimage.label(filled)
    outlines: list[tuple[float, NDArray[np.intp], float]] = []
    for number in range(1, int(count) + 1):
        at = np.argwhere(labels == number)
        area = float(len(at) * step_mm[0] * step_mm[1])
        reach = np.ptp(at, axis=0) + 1
        disc = np.pi / 4 * float(reach[0] * step_mm[1] * reach[1] * step_mm[0])
        slender = float(reach.max() / reach.min()) > LONGEST or area < FULL_SHARE_OF_DISC * disc
        if area >= SECOND_MM2 and not slender:
            outlines.append((area, at, float(at[:, 1].mean() * step_mm[0])))
    outlines.sort(key=lambda o: -o[0])
    chosen: list[LegEnd] = []
    for area, at, x in outlines:
        if len(chosen) == 2 or area < SHAFT_MM2:  # noqa: PLR2004 (two legs)
            break
        if all(abs(x - c.x_mm) > LEGS_APART_MM for c in chosen):
            beside = [o[1] for o in outlines if o[1] is not at and abs(o[2] - x) < LEGS_APART_MM]
            chosen.append(LegEnd(x_mm=x, at=at, beside=tuple(beside)))
    return sorted(chosen, key=lambda e: e.x_mm)


def _sides(count: int, x_mm: float, middle_mm: float) -> tuple[str, ...]:
    if count == 2:  # noqa: PLR2004 (two legs)
        return ("right", "left")
    return ("right",) if x_mm < middle_mm else ("left",)


def knee_rough_labels(
    values: Voxels, mask: Codes, spacing_mm: Floats, levels: GrayLevels
) -> tuple[RoughLabels, str]:
    """Rough labels of a block at the knees or the ankles, and which of the two it is.

    An ankle has a second bone beside each shaft at its upper end, a knee has none.

    Raises
    ------
    SegmentationError
        No shaft enters the block at its upper end.
    """
    step_hu = levels.cortex_hu - levels.soft_hu
    block = block_shape(spacing_mm, NODE_MM)
    step_mm = (spacing_mm * block)[::-1].copy()
    shares = np.empty(coarse_shape(mask.shape, block), np.uint8)
    block_shares(mask, block, shares)
    bone = (shares >= LEAST_SHARE) | (
        coarsened(values, block) > levels.soft_hu + MARROW_SHARE * step_hu
    )
    upper = shafts_at(bone, step_mm, top=True)
    lower = shafts_at(bone, step_mm, top=False)
    ankle = bool(upper) and all(end.beside for end in upper)
    dense = coarsened(values, block)[-1] > BODY_HU
    across = np.flatnonzero(dense.any(axis=0))
    width = float(np.ptp(across) * step_mm[0]) if len(across) else 0.0
    cut_off = width >= (dense.shape[1] - 2) * step_mm[0]
    if not upper or (len(upper) == 1 and (width > WIDEST_LEG_MM or cut_off)):
        raise SegmentationError(
            "cannot find a hip, a knee or an ankle in the volume",
            found="no shaft of a long bone at its upper end",
            needed="a round head in a socket, or a block that begins in the thigh or the shin",
            next_step="Choose the series of the hips; knees and ankles only add to it.",
            field="volume",
        )
    at, node_of = nodes_of(bone)
    valley = np.empty(len(at), np.float32)
    block_valleys(values, block, valley_reach(spacing_mm), VALLEY_SHARE * step_hu, at, valley)
    noise = NOISE_DEPTHS * levels.noise_hu / (VALLEY_SHARE * step_hu)
    valley = np.maximum(valley - np.float32(noise), 0)
    ends = [(upper, "tibia" if ankle else "femur", True)]
    ends.append((lower, "other" if ankle else "tibia", False))
    markers = _end_markers(at, bone.shape, step_mm, ends)
    graph = linked(at, node_of, valley, np.zeros(len(at), np.uint8))
    found, lead = walked(graph, markers)
    codes = np.zeros(bone.shape, np.uint8)
    found = others_named(found, graph)
    codes[tuple(at.T)] = found
    firm = np.zeros(bone.shape, np.uint8)
    firm[tuple(at.T)] = np.where(found == 0, 0, np.where(lead >= SURE_LEAD, found, UNSURE))
    return RoughLabels(
        block=block, step_mm=step_mm, codes=codes, sure=unsure_at_borders(firm)
    ), "ankle" if ankle else "knee"


def _end_markers(
    at: NDArray[np.int32],
    shape: tuple[int, ...],
    step_mm: Floats,
    ends_of: list[tuple[list[LegEnd], str, bool]],
) -> Codes:
    """Codes of the nodes near the ends, below or above the outlines of the shafts."""
    markers = np.zeros(len(at), np.uint8)
    middle = 0.5 * shape[2] * float(step_mm[0])
    for ends, bone, top in ends_of:
        if not ends:
            continue
        away = (shape[0] - 1 - at[:, 0] if top else at[:, 0]) * step_mm[2]
        names = _sides(len(ends), ends[0].x_mm, middle)
        for end, side in zip(ends, names, strict=True):
            code = Bone.OTHER.code if bone == "other" else Bone(f"{bone}_{side}").code
            parts = [(end.at, code), *((other, Bone.OTHER.code) for other in end.beside)]
            for outline, name in parts:
                inside = np.zeros(shape[1:], bool)
                inside[tuple(outline.T)] = True
                markers[(away <= END_MM) & inside[at[:, 1], at[:, 2]]] = name
    return markers
