"""Which side of a joint surface a voxel lies on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone
from hipwright.engines.imaging.tissue_levels import GrayLevels
from hipwright.engines.segmentation.find_hips import FoundHip
from hipwright.engines.segmentation.flat_joint import CELL_MM, FlatJoint, find_flat_joint
from hipwright.engines.segmentation.flooding import UNSURE
from hipwright.engines.segmentation.joint_gap import PolarGap
from hipwright.engines.segmentation.rough_labels import RoughLabels

Codes = NDArray[np.uint8]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

HEAD_CORE_MM = 3.0
"""Everything deeper than this in the head's sphere is head."""

VETO_MM = 8.0
"""So far beyond the gap nothing is femur where the gap acts."""

FLAT_SURE_MM = 7.0
FLAT_VETO_MM = 9.0


@njit(cache=True, nogil=True)
def gap_radius(axes: Floats, radius: Floats, acts: Flags, x: float, y: float, z: float) -> float:
    """Gap radius in a direction from the center; −1 where one of the nodes around does not act."""
    a = axes[0, 0] * x + axes[0, 1] * y + axes[0, 2] * z
    b = axes[1, 0] * x + axes[1, 1] * y + axes[1, 2] * z
    c = axes[2, 0] * x + axes[2, 1] * y + axes[2, 2] * z
    away = np.sqrt(a * a + b * b + c * c)
    if away <= 0.0:
        return -1.0
    rows, columns = radius.shape
    p = np.arccos(min(max(c / away, -1.0), 1.0)) * rows / np.pi - 0.5
    t = np.arctan2(b, a) % (2 * np.pi) * columns / (2 * np.pi)
    i = min(max(int(np.floor(p)), 0), rows - 2)
    di = min(max(p - i, 0.0), 1.0)
    j = int(np.floor(t))
    dj = t - j
    j0, j1 = j % columns, (j + 1) % columns
    if not (acts[i, j0] and acts[i, j1] and acts[i + 1, j0] and acts[i + 1, j1]):
        return -1.0
    low = (1 - dj) * radius[i, j0] + dj * radius[i, j1]
    high = (1 - dj) * radius[i + 1, j0] + dj * radius[i + 1, j1]
    return (1 - di) * low + di * high


@njit(cache=True, nogil=True)
def side_by_gap(  # noqa: C901 (one compiled loop)
    mask: Codes,
    step_mm: Floats,
    center: Floats,
    axes: Floats,
    radius: Floats,
    acts: Flags,
    core_mm: float,
    veto_mm: float,
    femur: int,
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    codes: Codes,
    barred: Codes,
) -> None:
    """Name what lies within the gap, and bar the femur from what lies close beyond it.

    ``low`` and ``high`` bound the voxels (z, y, x) that are looked at.
    """
    bit = np.uint8(1 << (femur - 1))
    rest = np.uint8(255 - bit)
    far = radius.max() + veto_mm
    for k in range(low[0], high[0]):
        z = k * step_mm[2] - center[2]
        for i in range(low[1], high[1]):
            y = i * step_mm[1] - center[1]
            if z * z + y * y > far * far:
                continue
            for j in range(low[2], high[2]):
                x = j * step_mm[0] - center[0]
                away2 = x * x + y * y + z * z
                if away2 > far * far:
                    continue
                if away2 < core_mm * core_mm:
                    codes[k, i, j] = femur
                    continue
                gap = gap_radius(axes, radius, acts, x, y, z)
                if gap < 0:
                    continue
                away = np.sqrt(away2)
                if away <= gap:
                    barred[k, i, j] |= rest
                    if mask[k, i, j] > 0:
                        codes[k, i, j] = femur
                elif away <= gap + veto_mm:
                    barred[k, i, j] |= bit


@njit(cache=True, nogil=True)
def side_by_plane(
    mask: Codes,
    step_mm: Floats,
    center: Floats,
    axes: Floats,
    heights: Floats,
    acts: Flags,
    cell_mm: float,
    sure_mm: float,
    veto_mm: float,
    first: int,
    second: int,
    low: NDArray[np.int64],
    high: NDArray[np.int64],
    block: tuple[int, int, int],
    sure: Codes,
    codes: Codes,
    barred: Codes,
) -> None:
    """Name what lies close above (first) and below (second) a flat joint; bar more of it.

    Nodes (``sure``, of ``block`` voxels) that are certain of their bone are left alone: beyond
    the joint its surface goes on and may meet bone.
    """
    one, two = np.uint8(1 << (first - 1)), np.uint8(1 << (second - 1))
    rows, columns = heights.shape
    for k in range(low[0], high[0]):
        z = k * step_mm[2] - center[2]
        for i in range(low[1], high[1]):
            y = i * step_mm[1] - center[1]
            for j in range(low[2], high[2]):
                x = j * step_mm[0] - center[0]
                h = axes[2, 0] * x + axes[2, 1] * y + axes[2, 2] * z
                if abs(h) > veto_mm + 9.0:
                    continue
                u = axes[0, 0] * x + axes[0, 1] * y + axes[0, 2] * z
                v = axes[1, 0] * x + axes[1, 1] * y + axes[1, 2] * z
                u = u / cell_mm + 0.5 * (rows - 1)
                v = v / cell_mm + 0.5 * (columns - 1)
                if u < 0 or v < 0 or u > rows - 1 or v > columns - 1:
                    continue
                a, b = int(u + 0.5), int(v + 0.5)
                if not acts[a, b]:
                    continue
                p, q = min(int(u), rows - 2), min(int(v), columns - 2)
                fu, fv = u - p, v - q
                height = (1 - fu) * ((1 - fv) * heights[p, q] + fv * heights[p, q + 1])
                height += fu * ((1 - fv) * heights[p + 1, q] + fv * heights[p + 1, q + 1])
                above = h - height
                if abs(above) > veto_mm:
                    continue
                node = sure[k // block[0], i // block[1], j // block[2]]
                if node not in (0, UNSURE):
                    continue
                barred[k, i, j] |= two if above > 0 else one
                if abs(above) < sure_mm and mask[k, i, j] > 0 and codes[k, i, j] == UNSURE:
                    codes[k, i, j] = first if above > 0 else second


def bounds_of(
    low_mm: Floats, high_mm: Floats, step_mm: Floats, shape: tuple[int, ...]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and past-the-end voxels (z, y, x) of a box in upright mm (x, y, z)."""
    low = np.clip(np.floor(low_mm / step_mm)[::-1], 0, shape).astype(np.int64)
    high = np.clip(np.ceil(high_mm / step_mm)[::-1] + 1, 0, shape).astype(np.int64)
    return low, high


def apply_gap(
    gap: PolarGap,
    head_radius_mm: float,
    femur: int,
    *,
    mask: Codes,
    step_mm: Floats,
    codes: Codes,
    barred: Codes,
) -> None:
    """Name voxels by a hip's joint surface; see :func:`side_by_gap`."""
    reach = float(gap.radius_mm.max()) + VETO_MM
    low, high = bounds_of(gap.center - reach, gap.center + reach, step_mm, mask.shape)
    side_by_gap(
        mask,
        step_mm,
        gap.center,
        np.ascontiguousarray(gap.axes),
        gap.radius_mm,
        gap.acts,
        head_radius_mm - HEAD_CORE_MM,
        VETO_MM,
        femur,
        low,
        high,
        codes,
        barred,
    )


def apply_flat(
    joint: FlatJoint,
    first: int,
    second: int,
    *,
    mask: Codes,
    step_mm: Floats,
    block: tuple[int, int, int],
    sure: Codes,
    codes: Codes,
    barred: Codes,
) -> None:
    """Name voxels by a flat joint; see :func:`side_by_plane`."""
    rows, columns = joint.height_mm.shape
    half = np.array([rows, columns]) * CELL_MM / 2
    corners = np.array(
        [
            joint.center
            + a * half[0] * joint.axes[0]
            + b * half[1] * joint.axes[1]
            + c * 18.0 * joint.axes[2]
            for a in (-1, 1)
            for b in (-1, 1)
            for c in (-1, 1)
        ]
    )
    low, high = bounds_of(corners.min(axis=0), corners.max(axis=0), step_mm, mask.shape)
    side_by_plane(
        mask,
        step_mm,
        joint.center,
        np.ascontiguousarray(joint.axes),
        joint.height_mm,
        joint.acts,
        CELL_MM,
        FLAT_SURE_MM,
        FLAT_VETO_MM,
        first,
        second,
        low,
        high,
        block,
        sure,
        codes,
        barred,
    )


def part_flat_joints(
    values: NDArray[np.int16],
    mask: Codes,
    step_mm: Floats,
    rough: RoughLabels,
    hips: Sequence[FoundHip],
    levels: GrayLevels,
    codes: Codes,
    barred: Codes,
) -> None:
    """Find the flat joints between the bones of some hips and part the bones there, in place."""
    across = np.array([1.0, 0.0, 0.0])
    meeting = [(hip.hip_bone.code, Bone.SACRUM.code, hip.lateral * across) for hip in hips]
    meeting.append((Bone.HIP_BONE_LEFT.code, Bone.HIP_BONE_RIGHT.code, across))
    for first, second, toward in meeting:
        joint = find_flat_joint(
            values,
            step_mm,
            rough.meeting_places(first, second),
            toward,
            soft_hu=levels.soft_hu,
            bone_hu=levels.threshold_hu,
            cortex_hu=levels.cortex_hu,
        )
        if joint is not None:
            apply_flat(
                joint,
                first,
                second,
                mask=mask,
                step_mm=step_mm,
                block=rough.block,
                sure=rough.sure,
                codes=codes,
                barred=barred,
            )


def no_word(shape: tuple[int, ...]) -> Codes:
    """An array that says of no voxel yet what it is."""
    return np.full(shape, UNSURE, np.uint8)
