"""What is drawn over a film for one measurement of one hip."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog.entries import LandmarkKind, MeasurementDefinition
from hipwright.domain.errors import SideError
from hipwright.domain.film_marks import CircleMark, Mark, Stroke
from hipwright.domain.measurement import Measurement
from hipwright.engines.anatomy.canonical import FilmBorder, MidlineBorder
from hipwright.engines.imaging.film_plane import px_from_plane
from hipwright.engines.measurement.construction import Circles
from hipwright.engines.measurement.doubt import Key
from hipwright.engines.measurement.measure import HipOnFilm, ReadFilm
from hipwright.engines.reporting.numbers import value_with_unit
from hipwright.engines.reporting.recipes import RECIPES
from hipwright.engines.reporting.tracing import CIRCLE_STEPS, Sheet

Floats = NDArray[np.float64]

A_PAIR = 2
"""Two landmarks without a drawing of their own are joined by a line."""


def marks_for(definition_id: str, read_film: ReadFilm, border: FilmBorder) -> tuple[Mark, ...]:
    """Lines, arcs and the label of one measurement, in ``film_px``.

    Parameters
    ----------
    definition_id
        The catalog id.
    read_film
        The film with its drawn landmarks and baseline.
    border
        The hip; for what belongs to both hips either will do.

    Returns
    -------
    tuple
        The landmarks that went in as points; above them the construction with its
        label. A measurement that is not possible shows only the landmarks there are.
        A construction without a drawing of its own shows its landmarks and the label.

    Raises
    ------
    CatalogError
        The catalog has no entry of that id.
    """
    entry = read_film.catalog.measurement(definition_id)
    hip = HipOnFilm(read_film, MidlineBorder(film=border.film) if entry.midline else border)
    sheet = Sheet(hip)
    try:
        used = _used(sheet, entry)
        found = hip.measure(entry)
    except SideError:
        return ()
    if isinstance(found, Measurement):
        text = f"{found.abbreviation or found.name} {value_with_unit(found)}"
        recipe = RECIPES.get(definition_id)
        if recipe is not None:
            recipe(sheet, text)
        elif used:
            points = [at for at in used if at.ndim == 1]
            if len(entry.landmarks) == len(used) == A_PAIR:
                sheet.line(*points, stroke=Stroke.FAINT)
            sheet.label(np.mean(np.stack(used), axis=0), text)
    return tuple(sheet.marks)


def _used(sheet: Sheet, entry: MeasurementDefinition) -> list[Floats]:
    """Draw the landmarks that are there; return a middle of each."""
    shelf = sheet.hip.read.catalog
    drawn = entry.id in RECIPES
    middles: list[Floats] = []
    for name, parsed in zip(entry.landmarks, entry.inputs, strict=True):
        known = shelf.landmark(parsed.landmark)
        placed = sheet.hip.input(name)
        if placed is None:
            continue
        if isinstance(placed, Circles):
            if not drawn:
                sheet.circle(placed.center[0], float(placed.radius[0]))
            middles.append(placed.center[0])
        elif known.kind is LandmarkKind.CONTOUR:
            sheet.outline(placed[0])
            middles.append(placed[0].mean(axis=0))
        else:
            sheet.point(known.id, known.name, placed[0])
            middles.append(placed[0])
    return middles


def fitted_circles(read_film: ReadFilm) -> Mapping[Key, CircleMark]:
    """The circle through the outline clicks of every circle landmark, by id and side."""
    turn = np.linspace(0.0, 2 * np.pi, CIRCLE_STEPS + 1)
    around = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    fitted: dict[Key, CircleMark] = {}
    for key, circle in read_film.sampled.circles.items():
        plane = circle.center[0] + circle.radius[0] * around
        px = px_from_plane(read_film.film, plane)
        fitted[key] = CircleMark(xy=tuple((float(x), float(y)) for x, y in px))
    return fitted
