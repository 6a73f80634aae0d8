"""From attenuation to gray values: scatter, quanta, detector blur and film-like processing."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Picture = NDArray[np.float32]

FULL_SCALE = 4095
"""Largest gray value of a 12-bit film."""

CURVE_ENDS = (-1.25, 1.30)
"""Black and white, in distances from the middle of the body to dense bone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmStyle:
    """How a machine takes and shows a film. Plausible values, judged by eye.

    Parameters
    ----------
    quanta
        Quanta per pixel behind the thick of the body.
    scatter_share
        Share of scatter in what reaches the detector there (behind a grid).
    blur_mm
        Standard deviation of the detector's blur.
    edge_gain, edge_mm
        Unsharp filtering: how much, over what distance.
    evenness
        How far slow changes of brightness are evened out, 0 to 1.
    contrast
        Steepness of the gray curve.
    brightness
        Shift of the gray curve, in parts of its width.
    shade
        Where the steepest part of the curve lies between the middle of the body
        (0) and the densest bone (1).
    grain
        Strength of trabecular grain.
    gas
        Amount of bowel gas.
    """

    quanta: float = 2600.0
    scatter_share: float = 0.30
    blur_mm: float = 0.11
    edge_gain: float = 0.55
    edge_mm: float = 2.2
    evenness: float = 0.68
    contrast: float = 2.7
    brightness: float = 0.0
    shade: float = 0.50
    grain: float = 1.0
    gas: float = 1.0


@njit(cache=True, nogil=True)
def magnified(small: Picture, times: int, rows: int, columns: int) -> Picture:
    """Enlarge by a whole factor, bilinear; pixel (i, j) falls on (times i, times j)."""
    result = np.empty((rows, columns), np.float32)
    high, wide = small.shape
    for row in range(rows):
        i = min(row // times, high - 1)
        below = min(i + 1, high - 1)
        v = np.float32(row / times - i) if row // times < high else np.float32(0.0)
        for column in range(columns):
            j = min(column // times, wide - 1)
            beside = min(j + 1, wide - 1)
            u = np.float32(column / times - j) if column // times < wide else np.float32(0.0)
            top = small[i, j] * (1 - u) + small[i, beside] * u
            bottom = small[below, j] * (1 - u) + small[below, beside] * u
            result[row, column] = top * (1 - v) + bottom * v
    return result


def slowly(picture: Picture, sigma_px: float) -> Picture:
    """Give a wide Gaussian average, taken on a thinned picture."""
    times = max(1, int(sigma_px // 4))
    if times == 1:
        return gaussian_filter(picture, sigma_px, mode="nearest")
    rows, columns = picture.shape
    high, wide = -(-rows // times), -(-columns // times)
    padded = np.pad(picture, ((0, high * times - rows), (0, wide * times - columns)), mode="edge")
    # the mean of a block belongs to its middle; that shift of half a block is far below sigma
    blocks = padded.reshape(high, times, wide, times).mean(axis=(1, 3)).astype(np.float32)
    small: Any = gaussian_filter(blocks, sigma_px / times, mode="nearest")
    return magnified(small, times, rows, columns)


def exposed(
    attenuation: Picture, style: FilmStyle, pixel_mm: float, rng: np.random.Generator
) -> Picture:
    """Give −ln of the exposure relative to that behind the body, noise and blur included."""
    primary = np.exp(-attenuation)
    rows, columns = primary.shape
    middle = primary[rows // 4 : -rows // 4, columns // 4 : -columns // 4]
    behind = float(np.median(middle))
    share = style.scatter_share / (1 - style.scatter_share)
    scatter = slowly(np.minimum(primary, 2.5 * behind), 28.0 / pixel_mm)
    signal = gaussian_filter(primary, style.blur_mm / pixel_mm, mode="nearest")
    signal += share * scatter
    signal *= style.quanta / (behind * (1 + share))
    noise = rng.standard_normal(signal.shape, dtype=np.float32)
    signal += noise * np.sqrt(signal + 16.0)  # quanta, and 4 quanta of electronics
    return -np.log(np.maximum(signal, 1.0) / style.quanta)


def developed(
    log_exposure: Picture, body: NDArray[np.bool_], style: FilmStyle, pixel_mm: float
) -> Picture:
    """Give gray values 0 … 4095, bone bright: evening, unsharp filtering, sigmoid curve.

    ``body`` says where the beam met more than air; slow changes of brightness
    are evened out over the body only, so that skin is not drowned by the air
    beside it.
    """
    picture = np.maximum(log_exposure, -5.0)
    inside = body.astype(np.float32)
    reach = 20.0 / pixel_mm
    slow = slowly(picture * inside, reach) / np.maximum(slowly(inside, reach), 1e-3)
    thin = slice(None, None, 8)
    seen = body[thin, thin] if body.any() else np.ones_like(body[thin, thin])
    center = float(np.median(picture[thin, thin][seen]))
    picture = picture - np.float32(style.evenness) * np.clip(slow - np.float32(center), -3.0, 1.5)
    picture = picture.astype(np.float32)
    soft = slowly(picture, style.edge_mm / pixel_mm)
    picture = picture + style.edge_gain * np.clip(picture - soft, -0.5, 0.5)
    middle, high = np.quantile(picture[thin, thin][seen], [0.40, 0.99])
    # the middle of the body is shown in dark gray, dense bone just below white
    width = max(high - middle, 0.25)
    place = (picture - middle) / width + style.brightness - style.shade
    low, full = (1 / (1 + np.exp(-style.contrast * (end - style.shade))) for end in CURVE_ENDS)
    curve = 1 / (1 + np.exp(-style.contrast * place))
    gray = FULL_SCALE * np.clip((curve - low) / (full - low), 0, 1)
    return gray.astype(np.float32)
