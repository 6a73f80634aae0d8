"""A reader's own spread at each landmark, from repeat readings of the same films."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.entries import LandmarkKind
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.study import Film
from hipwright.engines.geometry.circles import fit_circle
from hipwright.engines.geometry.polylines import thinned
from hipwright.engines.imaging.film_plane import plane_from_px

Floats = NDArray[np.float64]

FEWEST_REPEATS = 10
"""Repeat readings of a landmark from which the reader's own spread replaces the catalog's."""


THINNING_MM = 0.05
"""Drawn outlines are compared without vertices that lie closer to their line than this."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RepeatReading:
    """One reading of a film that the same observer read more than once."""

    film: Film
    landmarks: LandmarkSet


def observer_spread(
    readings: Iterable[RepeatReading], catalog: Catalog, *, fewest: int = FEWEST_REPEATS
) -> Mapping[str, tuple[float, float]]:
    """Spread of one observer's placements, by landmark id.

    Parameters
    ----------
    readings
        Readings of one observer; films read once, and uncalibrated films, say nothing.
    catalog
        For the landmarks' kinds.
    fewest
        Repeats a landmark must have (readings beyond the first of a film and side).

    Returns
    -------
    mapping
        Standard deviations in mm along u and v, for landmarks with enough repeats, as
        :class:`~hipwright.engines.measurement.doubt.Doubt` takes them. A circle's center
        stands under its id, its radius under ``<id>.radius``; an open contour's spread is
        taken across its line and given for both axes.
    """
    groups: dict[tuple[str, str, object], list[Floats]] = defaultdict(list)
    for reading in readings:
        if not reading.film.calibration.is_calibrated:
            continue
        for item in reading.landmarks:
            plane = plane_from_px(reading.film, _coordinates(item))
            if isinstance(item, PlacedContour):
                plane = thinned(plane, THINNING_MM)
            groups[item.id, reading.film.image, item.side].append(plane)
    by_landmark: dict[str, list[list[Floats]]] = defaultdict(list)
    for (landmark, _, _), placed in groups.items():
        by_landmark[landmark].append(placed)
    found: dict[str, tuple[float, float]] = {}
    for landmark, films in by_landmark.items():
        repeats = sum(len(placed) - 1 for placed in films)
        if repeats >= fewest and landmark in catalog.landmarks:
            found |= _spread(landmark, catalog.landmark(landmark).kind, films)
    return found


def _spread(
    landmark: str, kind: LandmarkKind, films: Sequence[list[Floats]]
) -> dict[str, tuple[float, float]]:
    match kind:
        case LandmarkKind.POINT:
            u, v = _pooled([np.array(placed) for placed in films])
            return {landmark: (float(u), float(v))}
        case LandmarkKind.CIRCLE:
            circles = [[fit_circle(outline) for outline in placed] for placed in films]
            u, v = _pooled([np.array([c for c, _ in placed]) for placed in circles])
            (radius,) = _pooled([np.array([[r] for _, r in placed]) for placed in circles])
            breath = (float(radius), float(radius))
            return {landmark: (float(u), float(v)), f"{landmark}.radius": breath}
        case LandmarkKind.CONTOUR:
            gaps = [_gap(a, b) for placed in films for a, b in pairwise(placed)]
            across = float(np.sqrt(np.mean(np.square(gaps)) / 2))
            return {landmark: (across, across)}


def _pooled(films: Sequence[Floats]) -> Floats:
    """Standard deviation within films, (readings, axes) each, to (axes,)."""
    off: Floats = np.concatenate([placed - placed.mean(axis=0) for placed in films])
    freedom = sum(len(placed) - 1 for placed in films)
    squares: Floats = (off**2).sum(axis=0)
    return np.sqrt(squares / freedom)


def _gap(first: Floats, second: Floats) -> float:
    """Mean signed distance of one drawing's vertices from the other's line."""
    start, along = first[:-1], np.diff(first, axis=0)
    square = np.maximum((along**2).sum(axis=1), np.finfo(np.float64).tiny)
    arms = second[:, None, :] - start[None, :, :]
    share = np.clip((arms * along).sum(axis=-1) / square, 0.0, 1.0)
    off = arms - share[..., None] * along
    nearest = np.hypot(off[..., 0], off[..., 1]).argmin(axis=1)
    rows = np.arange(len(second))
    side: Floats = np.sign(
        along[nearest, 0] * arms[rows, nearest, 1] - along[nearest, 1] * arms[rows, nearest, 0]
    )
    distance: Floats = np.linalg.norm(off[rows, nearest], axis=-1)
    return float(np.mean(side * distance))


def _coordinates(item: PlacedPoint | PlacedContour) -> Floats:
    return np.array([item.x_px, item.y_px]) if isinstance(item, PlacedPoint) else item.xy_px
