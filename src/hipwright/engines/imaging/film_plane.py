"""Between pixels and the plane of the hip.

The film plane has x to the right and y upward, its origin in the middle of the
picture, and the unit of the film's calibration: mm in the plane of the hip, or
widths of a pixel where the film is uncalibrated.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.study import Film

Floats = NDArray[np.float64]


def plane_from_px(film: Film, xy_px: Floats) -> Floats:
    """Column and row, shape (..., 2), to x and y in the film plane."""
    scale = film.calibration
    x = (xy_px[..., 0] - (film.columns - 1) / 2) * scale.column_mm
    y = ((film.rows - 1) / 2 - xy_px[..., 1]) * scale.row_mm
    return np.stack([x, y], axis=-1)


def px_from_plane(film: Film, plane: Floats) -> Floats:
    """The inverse of :func:`plane_from_px`."""
    scale = film.calibration
    column = plane[..., 0] / scale.column_mm + (film.columns - 1) / 2
    row = (film.rows - 1) / 2 - plane[..., 1] / scale.row_mm
    return np.stack([column, row], axis=-1)
