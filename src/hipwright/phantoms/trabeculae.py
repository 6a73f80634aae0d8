"""The grain of cancellous bone on a film: streaks along the lines of load over speckle.

Streaks are white noise smeared along a field of directions. The field and the
density of a bone are told by a few control points on the film, each with a
reach.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from hipwright.phantoms.projection import Array

Picture = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """Around a point of the film: direction of the streaks and how dense the bone is.

    ``direction`` is (column, row); ``reach_px`` a standard deviation;
    ``density`` is added to 1 with full weight at the point.
    """

    at_px: tuple[float, float]
    direction: tuple[float, float]
    reach_px: float
    density: float = 0.0


def _weights(grain: Grain, rows: Array, columns: Array) -> Picture:
    away = (columns[None, :] - grain.at_px[0]) ** 2 + (rows[:, None] - grain.at_px[1]) ** 2
    return np.exp(-0.5 * away / grain.reach_px**2).astype(np.float32)


def direction_field(
    grains: list[Grain], shape: tuple[int, int], step: int
) -> tuple[Picture, Picture, Picture]:
    """Blend control points: cosine and sine of the direction, and the density factor.

    Every ``step``-th pixel is computed; shape is that of the result.
    """
    rows = np.arange(shape[0], dtype=np.float64) * step
    columns = np.arange(shape[1], dtype=np.float64) * step
    cosine = np.full(shape, 1e-6, np.float32)
    sine = np.zeros(shape, np.float32)
    density = np.ones(shape, np.float32)
    for grain in grains:
        weight = _weights(grain, rows, columns)
        twice = 2 * np.arctan2(grain.direction[1], grain.direction[0])
        cosine += weight * np.float32(np.cos(twice))
        sine += weight * np.float32(np.sin(twice))
        if grain.density:
            density += weight * np.float32(grain.density)
    half = np.arctan2(sine, cosine) / 2
    return np.cos(half), np.sin(half), density


@njit(cache=True, nogil=True, fastmath=True)
def smear(
    noise: Picture, cosine: Picture, sine: Picture, wanted: NDArray[np.bool_], steps: int
) -> Picture:
    """Average noise along the streamlines, ``steps`` pixels each way, tapering off.

    Only wanted pixels are computed, the others stay 0.
    """
    rows, columns = noise.shape
    result = np.zeros_like(noise)
    for row in range(rows):
        for column in range(columns):
            if not wanted[row, column]:
                continue
            total = noise[row, column]
            for way in (-1.0, 1.0):
                x, y = float(column), float(row)
                cx, cy = way * cosine[row, column], way * sine[row, column]
                for step in range(1, steps + 1):
                    x += cx
                    y += cy
                    i, j = int(y + 0.5), int(x + 0.5)
                    if i < 0 or j < 0 or i >= rows or j >= columns:
                        break
                    total += noise[i, j] * (1.0 - step / (steps + 1.0))
                    nx, ny = cosine[i, j], sine[i, j]
                    if nx * cx + ny * cy < 0:  # directions have no sign: keep going on
                        nx, ny = -nx, -ny
                    cx, cy = nx, ny
            result[row, column] = total
    return result


def streaks(
    cosine: Picture,
    sine: Picture,
    wanted: NDArray[np.bool_],
    *,
    length_px: int,
    width_px: float,
    rng: np.random.Generator,
) -> Picture:
    """Give streaks of unit variance along a field, of that width and half length."""
    noise = gaussian_filter(rng.standard_normal(cosine.shape, dtype=np.float32), width_px)
    grain = smear(noise, cosine, sine, wanted, length_px)
    spread = grain[wanted].std() if wanted.any() else 0.0
    return grain / np.float32(max(spread, 1e-12))


def speckle(
    shape: tuple[int, int], sizes_px: tuple[float, ...], rng: np.random.Generator
) -> Picture:
    """Give noise of unit variance with equal power at several grain sizes."""
    total = np.zeros(shape, np.float32)
    for size in sizes_px:
        part = gaussian_filter(rng.standard_normal(shape, dtype=np.float32), size)
        total += part / part.std()
    return total / total.std()
