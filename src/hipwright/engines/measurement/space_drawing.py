"""How a measurement in space is shown on the bone: named points and lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError

Floats = NDArray[np.float64]

_AXES = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnPoint:
    """A point of a construction, ``hip_canonical``, shape (3,), mm, with its name in words."""

    name: str
    at_mm: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnLine:
    """A polyline of a construction, ``hip_canonical``, shape (n, 3), mm.

    ``name`` is in words; ``dashed`` lines only help the eye (a vertical, an axis carried on).
    """

    name: str
    points_mm: Floats
    dashed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpaceDrawing:
    """What to draw on the bones to show where a number comes from.

    Parameters
    ----------
    points, lines
        In ``hip_canonical``, mm, of the survey that was measured (no leading axes).

    Raises
    ------
    DegenerateGeometryError
        A place is not finite: what could not be measured is not drawn.
    """

    points: tuple[DrawnPoint, ...] = ()
    lines: tuple[DrawnLine, ...] = ()

    def __post_init__(self) -> None:
        shapes = [point.at_mm.shape == (_AXES,) for point in self.points]
        shapes += [
            line.points_mm.ndim == 2 and line.points_mm.shape[1] == _AXES  # noqa: PLR2004 (rows of places)
            for line in self.lines
        ]
        places = [*(p.at_mm for p in self.points), *(line.points_mm for line in self.lines)]
        if not all(shapes) or not all(bool(np.isfinite(place).all()) for place in places):
            raise DegenerateGeometryError(
                "cannot draw the construction",
                found="places that are not finite, or not in space",
                needed="points (3,) and lines (n, 3), mm",
                next_step="Draw only what was measured.",
            )
