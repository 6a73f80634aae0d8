"""From modality values to gray levels as shown: low is dark, high is bright."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.integer[Any] | np.floating[Any]]
"""Rows × columns of values, whatever their type; color has a third axis."""

LARGEST = 65535
LUMA = (0.299, 0.587, 0.114)
"""Weights of red, green and blue: ITU-R BT.601, the luma of JPEG's and DICOM's YBR_FULL."""

TWO_BYTES = 2

QUIET_SHARE = 0.01
"""Share of pixels that a window made from the picture itself cuts off at either end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Center and width of the gray levels shown, in the units of the values."""

    center: float
    width: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GrayLevels:
    """Unsigned levels, and what to do to a value to get one: ``scale × value + offset``."""

    levels: NDArray[np.uint16] = field(repr=False)
    window: Window
    scale: float
    offset: float


def luma(color: Pixels) -> NDArray[np.float32]:
    """One gray value per pixel of a red, green, blue picture (rows, columns, 3)."""
    weights = np.asarray(LUMA, dtype=np.float32)
    return np.rint(color[..., :3].astype(np.float32) @ weights)


def window_of(values: Pixels, ignored: NDArray[np.bool_] | None = None) -> Window:
    """A window that holds all but the extreme hundredth of the picture at either end."""
    looked_at = values if ignored is None or ignored.all() else values[~ignored]
    sample = looked_at.ravel()[:: max(1, looked_at.size // 250_000)]
    low = float(np.quantile(sample, QUIET_SHARE))
    high = float(np.quantile(sample, 1 - QUIET_SHARE))
    if high <= low:
        low, high = float(looked_at.min()), float(looked_at.max())
    return Window(center=(low + high) / 2, width=max(1.0, high - low))


def as_shown(
    values: Pixels, *, lowest: float, highest: float, inverted: bool, window: Window
) -> GrayLevels:
    """Levels of 16 bits, low dark, one level a unit wherever the range allows.

    Parameters
    ----------
    values
        Modality values (rows, columns).
    lowest, highest
        The range values can have, so that every picture of a series is treated alike.
    inverted
        Whether low values are bright in ``values`` (MONOCHROME1).
    window
        In the units of ``values``; comes back in the units of the levels.
    """
    span = highest - lowest
    scale = 1.0 if lowest >= 0 and highest <= LARGEST else min(1.0, LARGEST / max(span, 1.0))
    offset = 0.0 if scale == 1.0 and lowest >= 0 and highest <= LARGEST else -lowest * scale
    if inverted:
        top = highest * scale + offset
        scale, offset = -scale, top - offset
    if (
        scale == 1.0
        and offset == 0.0
        and values.dtype.kind == "u"
        and values.itemsize <= TWO_BYTES
    ):
        levels = values.astype(np.uint16)
    else:
        raw = values.astype(np.float32) * np.float32(scale) + np.float32(offset)
        levels = np.clip(np.rint(raw), 0, LARGEST).astype(np.uint16)
    return GrayLevels(
        levels=levels,
        window=Window(
            center=window.center * scale + offset, width=max(1.0, window.width * abs(scale))
        ),
        scale=scale,
        offset=offset,
    )
