"""What a reader places on a film: points and contours, each with its doubt."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import LandmarkError
from hipwright.domain.side import Side

Floats = NDArray[np.float64]

MIDLINE = None
"""The side of a landmark that belongs to both hips, such as the symphysis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedPoint:
    """One landmark of one side, in ``film_px``.

    ``sd_px`` is the reader's own spread where it is known; ``None`` lets the
    catalog's default for the landmark stand in.
    """

    id: str
    side: Side | None
    x_px: float
    y_px: float
    sd_px: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.x_px) and math.isfinite(self.y_px)):
            raise LandmarkError(
                f"cannot place {self.id}",
                found=f"({self.x_px}, {self.y_px})",
                needed="finite coordinates",
                next_step="Place the landmark again.",
                field=self.id,
            )
        if self.sd_px is not None and not (math.isfinite(self.sd_px) and self.sd_px >= 0):
            raise LandmarkError(
                f"cannot place {self.id}",
                found=f"a spread of {self.sd_px} px",
                needed="zero or more",
                next_step="Correct the sd, or leave it out to use the catalog's.",
                field=self.id,
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedContour:
    """An outline of one side, ``xy_px`` of shape (n, 2) in ``film_px``."""

    id: str
    side: Side | None
    xy_px: Floats = field(repr=False)

    def __post_init__(self) -> None:
        array: Any = np.array(self.xy_px, dtype=np.float64)
        if array.ndim != 2 or array.shape[1:] != (2,) or not np.isfinite(array).all():  # noqa: PLR2004 - two columns, x and y
            raise LandmarkError(
                f"cannot draw {self.id}",
                found=f"an array of shape {array.shape}",
                needed="finite pairs of column and row",
                next_step="Draw the contour again.",
                field=self.id,
            )
        array.setflags(write=False)
        object.__setattr__(self, "xy_px", array)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, PlacedContour):
            return NotImplemented
        same = (self.id, self.side) == (other.id, other.side)
        return same and np.array_equal(self.xy_px, other.xy_px)

    def __hash__(self) -> int:
        return hash((self.id, self.side, (self.xy_px + 0.0).tobytes()))  # -0.0 equals 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LandmarkSet:
    """All that one reader placed on one film in one reading, both sides.

    Parameters
    ----------
    image
        Id of the film.
    observer
        Who placed them: ``human:`` and a code, or the algorithm's name and version.
    reading
        1 for the first reading of this film by this observer, 2 for the next.
    """

    image: str
    observer: str
    reading: int = 1
    points: tuple[PlacedPoint, ...] = ()
    contours: tuple[PlacedContour, ...] = ()

    def __post_init__(self) -> None:
        seen: set[tuple[str, Side | None]] = set()
        for item in self:
            key = (item.id, item.side)
            if key in seen:
                raise LandmarkError(
                    f"cannot use the landmarks of {self.image}",
                    found=f"{item.id} of the {item.side or 'midline'} twice",
                    needed="each landmark once a side",
                    next_step="Keep one of the two.",
                    field=item.id,
                )
            seen.add(key)
        if self.reading < 1:
            raise LandmarkError(
                f"cannot use the landmarks of {self.image}",
                found=f"reading {self.reading}",
                needed="1 or more",
                next_step="Number readings from 1.",
                field="reading",
            )

    def __iter__(self) -> Iterator[PlacedPoint | PlacedContour]:
        yield from self.points
        yield from self.contours

    def point(self, landmark: str, side: Side | None) -> PlacedPoint | None:
        """The point of that id and side, or ``None``."""
        return next((p for p in self.points if (p.id, p.side) == (landmark, side)), None)

    def contour(self, landmark: str, side: Side | None) -> PlacedContour | None:
        """The contour of that id and side, or ``None``."""
        return next((c for c in self.contours if (c.id, c.side) == (landmark, side)), None)

    def replacing(self, items: Iterable[PlacedPoint | PlacedContour]) -> LandmarkSet:
        """The same set with these items in place of those of the same id and side."""
        new = list(items)
        keys = {(item.id, item.side) for item in new}
        points = [p for p in self.points if (p.id, p.side) not in keys]
        contours = [c for c in self.contours if (c.id, c.side) not in keys]
        points += [item for item in new if isinstance(item, PlacedPoint)]
        contours += [item for item in new if isinstance(item, PlacedContour)]
        return LandmarkSet(
            image=self.image,
            observer=self.observer,
            reading=self.reading,
            points=tuple(points),
            contours=tuple(contours),
        )
