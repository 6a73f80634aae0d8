"""Surfaces and what is painted on them as the browser takes them: plain little-endian bytes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Surface

NOTHING_KNOWN = 0
LOWEST, HIGHEST = 1, 255


def mesh_bytes(surface: Surface) -> bytes:
    """``u32 vertices, faces | f32 xyz | u32 indices``."""
    sizes = np.array([len(surface.vertices), len(surface.faces)], dtype="<u4")
    return b"".join(
        (
            sizes.tobytes(),
            surface.vertices.astype("<f4").tobytes(),
            surface.faces.astype("<u4").tobytes(),
        )
    )


def paint_bytes(values: NDArray[np.floating[Any]], low: float, high: float) -> bytes:
    """One byte a vertex: 0 for nothing known (NaN), 1 to 255 from ``low`` to ``high``."""
    share = (values - low) / (high - low)
    known = np.isfinite(values)
    level = np.zeros(values.shape, dtype=np.uint8)
    scaled = LOWEST + np.clip(share[known], 0.0, 1.0) * (HIGHEST - LOWEST)
    level[known] = np.rint(scaled).astype(np.uint8)
    return level.tobytes()
