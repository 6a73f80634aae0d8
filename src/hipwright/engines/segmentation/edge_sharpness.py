"""How sharp a scan is: the steepest slope of thick cortex against its height.

A step blurred by a Gaussian of standard deviation σ rises by height / (σ √(2π)) per mm at
most; neighbors a pixel apart see a little less, which is taken off again.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

LOOK_MM = 4.0
THICK_SHARE = 0.9
"""Share of the brightest cortex that a wall must reach to count as thick."""

LOWEST_HU = -200
LEAST_EDGES = 200
FALLBACK_MM = 0.6
_MOST_EDGES = 200_000


@njit(cache=True, nogil=True)
def outer_edges(  # noqa: C901 (one compiled loop)
    values: Voxels, level: float, reach: int, thick: float, pace: int, out: NDArray[np.float64]
) -> int:
    """Collect rows of (height, steepest step, dip below) of edges along x, from dark to bright.

    An edge is where a row crosses ``level`` upward with nothing brighter than ``level`` in the
    ``reach`` voxels before and something of at least ``thick`` in those after. Returns the count.
    """
    count = 0
    nz, ny, nx = values.shape
    for z in range(0, nz, pace):
        for y in range(1, ny - 1, pace):
            for way in range(2):
                step = 1 if way == 0 else -1
                for x in range(reach, nx - reach):
                    if values[z, y, x] >= level or values[z, y, x + step] < level:
                        continue
                    base, top, steepest, lowest = 0.0, -1e9, 0.0, 1e9
                    clear = True
                    for k in range(reach):
                        before = values[z, y, x - step * k]
                        if before >= level or before < LOWEST_HU:
                            clear = False
                            break
                        if k >= 3:  # noqa: PLR2004 (past the blurred foot of the edge)
                            base += before
                        lowest = min(lowest, before)
                        after = values[z, y, x + step * (k + 1)]
                        top = max(top, after)
                    if not clear or top < thick:
                        continue
                    if abs(values[z, y - 1, x] - values[z, y + 1, x]) > 0.3 * (top - level):
                        continue
                    for k in range(-2, 4):
                        rise = values[z, y, x + step * (k + 1)] - values[z, y, x + step * k]
                        steepest = max(steepest, float(rise))
                    base /= reach - 3
                    if count >= out.shape[0]:
                        return count
                    out[count, 0] = top - base
                    out[count, 1] = steepest
                    out[count, 2] = base - lowest
                    count += 1
    return count


def blur_and_overshoot(
    values: Voxels, pixel_mm: float, soft_hu: float, cortex_hu: float, noise_hu: float
) -> tuple[float, float]:
    """Standard deviation of the blur in the slice, mm, and the dip beside thick cortex.

    Parameters
    ----------
    values
        Upright voxels.
    pixel_mm
        Spacing along x.
    soft_hu, cortex_hu, noise_hu
        Levels of the scan.
    """
    reach = max(5, round(LOOK_MM / pixel_mm))
    found = np.empty((_MOST_EDGES, 3))
    level = soft_hu + 0.4 * (cortex_hu - soft_hu)
    count = outer_edges(values, level, reach, THICK_SHARE * cortex_hu, 2, found)
    edges = found[:count]
    if count < LEAST_EDGES:
        return FALLBACK_MM, 0.0
    tall = edges[edges[:, 0] >= np.quantile(edges[:, 0], 0.7)]
    ratio = float(np.quantile(tall[:, 1] / tall[:, 0], 0.6)) / pixel_mm
    apparent = 1.0 / (np.sqrt(2 * np.pi) * max(ratio, 1e-3))
    blur = float(np.sqrt(max(apparent**2 - pixel_mm**2 / 12.0, 0.15**2)))
    dip = float(np.median(tall[:, 2])) - 1.5 * noise_hu
    return blur, max(0.0, float(dip / np.median(tall[:, 0])))
