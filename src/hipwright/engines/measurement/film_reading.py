"""A film whose landmarks are drawn and leveled: what all its measurements share."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.loader import DERIVED_INPUTS
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import Unit
from hipwright.domain.study import Film
from hipwright.engines.anatomy.leveling import Leveling, level
from hipwright.engines.measurement.doubt import Doubt, Key, Sampled, sample

Floats = NDArray[np.float64]

HEAD = "femoral_head"
HEAD_CENTER = "femoral_head_center"
TEARDROP = "teardrop_inferior"
LEVELED_BY = frozenset({HEAD, HEAD_CENTER, TEARDROP})
"""Landmarks that the pelvic baseline can rest on."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadFilm:
    """A film, its reading as draws, and the baseline.

    ``sex`` is ``female``, ``male`` or ``None``: it chooses between ranges of the sexes.
    ``placed_bytes`` are the landmarks in order of id and side, for digests.
    """

    film: Film
    landmarks: LandmarkSet
    catalog: Catalog
    doubt: Doubt
    sampled: Sampled
    leveling: Leveling
    software: str
    placed_bytes: tuple[tuple[str, bytes], ...]
    sex: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadCircle:
    """How well a head's outline is a circle.

    ``residual`` is the root-mean-square distance of the kept outline points from the
    circle, ``left_out`` how many of ``points`` bulge out of it; both lengths in ``unit``.
    """

    side: object
    radius: float
    residual: float
    left_out: int
    points: int
    unit: Unit

    def in_words(self) -> str:
        """Write it for a reader: ``radius 24.0 mm, residual 0.2 mm, 3 of 20 points left out``."""
        label = self.unit.label
        words = f"radius {self.radius:.1f}{label}, residual {self.residual:.1f}{label}"
        if self.left_out:
            words += f", {self.left_out} of {self.points} points left out as not round"
        return words


def read_film(
    film: Film,
    landmarks: LandmarkSet,
    *,
    catalog: Catalog,
    doubt: Doubt | None = None,
    software: str = "hipwright",
    sex: str | None = None,
) -> ReadFilm:
    """Draw the landmarks and choose the baseline, once for all measurements of the film.

    Parameters
    ----------
    film, landmarks
        The film and one reading of it.
    catalog
        Landmarks, measurements and their ranges.
    doubt
        How to draw; by default 600 draws of the catalog's spreads.
    software
        Name and version, for the provenance.
    sex
        ``F``, ``female``, ``M``, ``male`` in any case, or ``None``.

    Raises
    ------
    DegenerateGeometryError
        An outline of a head or ball holds no circle.
    """
    how = doubt or Doubt()
    sampled = sample(film, landmarks, catalog, how)
    return ReadFilm(
        film=film,
        landmarks=landmarks,
        catalog=catalog,
        doubt=how,
        sampled=sampled,
        leveling=_leveling(film, sampled),
        software=software,
        placed_bytes=tuple(sorted(_placed_bytes(item) for item in landmarks)),
        sex=_sex(sex),
    )


def head_circles(read: ReadFilm) -> tuple[HeadCircle, ...]:
    """Tell how round each drawn head is."""
    unit = Unit.MILLIMETER if read.film.calibration.is_calibrated else Unit.PIXEL
    return tuple(
        HeadCircle(
            side=key[1],
            radius=float(circle.radius[0]),
            residual=circle.rms,
            left_out=int((~circle.kept).sum()),
            points=len(circle.kept),
            unit=unit,
        )
        for key, circle in read.sampled.circles.items()
        if key[0] == HEAD
    )


def head_center(sampled: Sampled, side: object) -> Floats | None:
    """The center of a head as placed, else of its circle, (n, 2); ``None`` where neither is."""
    placed = sampled.points.get((HEAD_CENTER, side))
    if placed is not None:
        return placed
    circle = sampled.circles.get((DERIVED_INPUTS[HEAD_CENTER], side))
    return None if circle is None else circle.center


def _placed_bytes(item: PlacedPoint | PlacedContour) -> tuple[str, bytes]:
    if isinstance(item, PlacedPoint):
        coordinates = struct.pack("<2d", item.x_px, item.y_px)
    else:
        coordinates = item.xy_px.astype("<f8").tobytes()
    return item.id, f"{item.id}|{item.side}|".encode() + coordinates


def _sex(text: str | None) -> str | None:
    return {"f": "female", "m": "male"}.get((text or "").strip().lower()[:1])


def _leveling(film: Film, sampled: Sampled) -> Leveling:
    if not film.view.shows_both_hips:
        return level(None, None, sampled.draws)
    keys: list[Key] = [*sampled.circles, *sampled.points]
    sides = dict.fromkeys(side for name, side in keys if name in {HEAD, HEAD_CENTER})
    heads = [center for side in sides if (center := head_center(sampled, side)) is not None]
    drops = [xy for key, xy in sampled.points.items() if key[0] == TEARDROP]
    return level(_pair(heads), _pair(drops), sampled.draws)


def _pair(found: Sequence[Floats]) -> tuple[Floats, Floats] | None:
    match found:
        case [first, second]:
            return first, second
        case _:
            return None
