"""Seeded standard normals, one set of columns for each landmark.

All columns of one seed are exactly uncorrelated and come in mirrored pairs. An
interval of anything that is linear in the landmarks then has exactly the right
width, whichever landmarks it rests on, and only curvature is left to chance.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]

COLUMNS = 3
"""Columns of a key: u, v and, for circles, radius."""


@lru_cache(maxsize=8)
def normals(seed: int, keys: tuple[str, ...], draws: int) -> Mapping[str, Floats]:
    """Draws for each key, (draws + 1, 3), the first row zero.

    Parameters
    ----------
    seed
        Makes them repeatable.
    keys
        All keys that may meet in one measurement, in a fixed order.
    draws
        How many; with fewer than twice as many draws as columns, the columns that are
        too many stay merely independent.
    """
    generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed)))
    half, wide = (draws + 1) // 2, COLUMNS * len(keys)
    drawn = np.column_stack([generator.permutation(_strata(half)) for _ in range(wide)])
    several = min(wide, half)
    turned, rotation = np.linalg.qr(drawn[:, :several])
    drawn[:, :several] = turned * np.sign(np.diag(rotation)) * np.sqrt(half)
    rows: Floats = np.vstack([np.zeros((1, wide)), drawn, -drawn])[: draws + 1]
    rows.setflags(write=False)
    return MappingProxyType(
        {key: rows[:, COLUMNS * i : COLUMNS * (i + 1)] for i, key in enumerate(keys)}
    )


def _strata(count: int) -> Floats:
    """Middles of equally likely strata of the normal distribution, of unit variance."""
    middles: Floats = ndtri((np.arange(count) + 0.5) / count)
    return middles / np.sqrt(np.mean(middles**2))
