"""Readings of an analytic film by a reader who errs as the catalog declares.

Written apart from the engines' own sampling, so that the two can be held against each other.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from skimage.measure import CircleModel

from hipwright.catalog import Catalog
from hipwright.catalog.entries import LandmarkKind
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side
from hipwright.domain.study import Film
from hipwright.phantoms.analytic_film import AnalyticFilm

Floats = NDArray[np.float64]
Slip = tuple[Floats, float]
"""Shift (2,) in mm, x right and y up, and breath in mm."""


def read_again(
    made: AnalyticFilm, catalog: Catalog, generator: np.random.Generator
) -> tuple[Film, LandmarkSet]:
    """One more reading, and the film with the scale that this reading believes in."""
    film, placed = made.film, made.landmarks
    spacing = np.array([film.calibration.column_mm, -film.calibration.row_mm])
    slips: dict[tuple[str, Side | None], Slip] = {}
    for item in placed:
        entry = catalog.landmark(item.id)
        shift = np.array(entry.observer_sd_mm) * generator.standard_normal(2)
        breath = entry.observer_sd_radius_mm * generator.standard_normal()
        slips[item.id, item.side] = (shift, breath)
    points = [
        PlacedPoint(id=p.id, side=p.side, x_px=float(x), y_px=float(y))
        for p in placed.points
        for x, y in [np.array([p.x_px, p.y_px]) + slips[p.id, p.side][0] / spacing]
    ]
    contours = [_redrawn(c, made, catalog, slips, spacing) for c in placed.contours]
    off = 1 + film.calibration.relative_sd * generator.standard_normal()
    believed = replace(
        film.calibration,
        column_mm=film.calibration.column_mm * off,
        row_mm=film.calibration.row_mm * off,
    )
    return replace(film, calibration=believed), LandmarkSet(
        image=placed.image,
        observer="phantom:noisy",
        points=tuple(points),
        contours=tuple(contours),
    )


def _redrawn(
    contour: PlacedContour,
    made: AnalyticFilm,
    catalog: Catalog,
    slips: dict[tuple[str, Side | None], Slip],
    spacing: Floats,
) -> PlacedContour:
    entry = catalog.landmark(contour.id)
    shift, breath = slips[contour.id, contour.side]
    outline_mm = contour.xy_px * spacing
    if entry.kind is LandmarkKind.CIRCLE:
        center = _middle(outline_mm)
    elif entry.moves_with:
        head = made.landmarks.contour(entry.moves_with, contour.side)
        assert head is not None
        center = _middle(head.xy_px * spacing)
        carried, breath = slips[entry.moves_with, contour.side]
        shift = shift + carried
    else:
        center, breath = outline_mm.mean(axis=0), 0.0
    arms = outline_mm - center
    outward = arms / np.linalg.norm(arms, axis=1)[:, None]
    drawn = outline_mm + shift + breath * outward
    return PlacedContour(id=contour.id, side=contour.side, xy_px=drawn / spacing)


def _middle(outline_mm: Floats) -> Floats:
    """Center of a round outline, of which only a part may be drawn."""
    return np.array(CircleModel.from_estimate(outline_mm).center)
