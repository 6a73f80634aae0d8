"""Gray levels of soft tissue, cortex and noise, taken from a CT volume itself.

The histogram inside the body gives them; nothing is assumed but that air is far below and
bone far above soft tissue. Factors after a feasibility study on simulated CT (computed).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.errors import SegmentationError

Voxels = NDArray[np.int16]
Flags = NDArray[np.bool_]

BODY_HU = -300
"""Anything above is body, table or bed linen, not air."""

SOFT_RANGE_HU = (-60, 200)
BONE_OVER_SOFT_HU = 300
CORTEX_QUANTILE = 0.92
LOWEST_CORTEX_HU = 700.0
THRESHOLD_SHARE = 0.21
THRESHOLD_NOISES = 2.6
MOST_NOISE_HU = 80.0
LEAST_SOFT_SHARE = 0.08
LEAST_BONE_VOXELS = 200

_LOW, _HIGH = -1100, 3200


@dataclass(frozen=True, slots=True, kw_only=True)
class GrayLevels:
    """Soft tissue, cortex, noise and the level where bone begins, HU."""

    soft_hu: float
    cortex_hu: float
    noise_hu: float
    threshold_hu: float


def body_mask(coarse: Voxels, spacing_mm: NDArray[np.float64]) -> Flags:
    """The body without the table: the largest part denser than air after thin parts are cut.

    Parameters
    ----------
    coarse
        Block means of a few millimeters.
    spacing_mm
        Their spacing along z, y, x.
    """
    dense = coarse > BODY_HU
    reach = np.maximum(1, np.rint(5.0 / spacing_mm)).astype(int)
    reach[0] = 0
    ball = np.ones(tuple(2 * reach + 1), bool)
    opened = ndimage.binary_erosion(dense, ball, border_value=1)
    labels, count = ndimage.label(opened)
    if not count:
        return dense
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    kept = labels == int(sizes.argmax())
    return ndimage.binary_dilation(kept, ball) & dense


def gray_levels(coarse: Voxels, body: Flags, noise_hu: float) -> GrayLevels:
    """Levels from the histogram inside the body.

    Raises
    ------
    SegmentationError
        The values are no Hounsfield units, or there is no bone.
    """
    inside = coarse[body]
    counts = np.bincount(
        np.clip(inside, _LOW, _HIGH).astype(np.int64) - _LOW, minlength=_HIGH - _LOW + 1
    )
    levels = np.arange(_LOW, _HIGH + 1)
    smooth = np.convolve(counts, np.ones(21) / 21, mode="same")
    soft_part = (levels >= SOFT_RANGE_HU[0]) & (levels <= SOFT_RANGE_HU[1])
    share = counts[soft_part].sum() / max(int(counts.sum()), 1)
    if share < LEAST_SOFT_SHARE:
        raise SegmentationError(
            "cannot find bones in the volume",
            found=f"{100 * share:.0f} % of the body between {SOFT_RANGE_HU[0]} and "
            f"{SOFT_RANGE_HU[1]}, where soft tissue lies in Hounsfield units",
            needed=f"at least {100 * LEAST_SOFT_SHARE:.0f} %",
            next_step="Check that the series is a CT in HU with its rescale values.",
            field="volume",
        )
    above_fat = soft_part & (levels >= 0)
    soft = float(levels[above_fat][int(smooth[above_fat].argmax())])
    bone = inside[inside > soft + BONE_OVER_SOFT_HU]
    if len(bone) < LEAST_BONE_VOXELS:
        raise SegmentationError(
            "cannot find bones in the volume",
            found=f"{len(bone)} coarse voxels more than {BONE_OVER_SOFT_HU} HU above soft tissue",
            needed=f"at least {LEAST_BONE_VOXELS}",
            next_step="Choose the series that shows the hips.",
            field="volume",
        )
    cortex = max(float(np.quantile(bone, CORTEX_QUANTILE)), LOWEST_CORTEX_HU)
    threshold = max(
        soft + THRESHOLD_NOISES * min(noise_hu, MOST_NOISE_HU),
        soft + THRESHOLD_SHARE * (cortex - soft),
    )
    return GrayLevels(
        soft_hu=soft, cortex_hu=cortex, noise_hu=noise_hu, threshold_hu=float(threshold)
    )


def noise_of(values: Voxels) -> float:
    """Standard deviation of the noise: from differences of neighbors along x in soft tissue.

    1.48 times the median absolute deviation over √2 (common practice for a normal spread).
    """
    counts = np.zeros(1024, np.int64)
    count_differences(values, SOFT_RANGE_HU[0], SOFT_RANGE_HU[1], counts)
    total = int(counts.sum())
    if not total:
        return 0.0
    median = float(np.searchsorted(np.cumsum(counts), total / 2))
    before = float(np.cumsum(counts)[max(int(median) - 1, 0)]) if median else 0.0
    within = (total / 2 - before) / max(float(counts[int(median)]), 1.0)
    return float(1.4826 * max(median - 0.5 + within, 0.0) / np.sqrt(2.0))


@njit(cache=True, nogil=True)
def count_differences(values: Voxels, low: int, high: int, counts: NDArray[np.int64]) -> None:
    """Count the absolute differences of neighbors along x where both lie in soft tissue."""
    for z in range(0, values.shape[0], 3):
        for y in range(0, values.shape[1], 2):
            for x in range(values.shape[2] - 1):
                a, b = values[z, y, x], values[z, y, x + 1]
                if low <= a <= high and low <= b <= high:
                    counts[min(abs(a - b), counts.shape[0] - 1)] += 1
