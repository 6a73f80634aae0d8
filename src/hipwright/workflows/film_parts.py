"""Which parts of a film a document shows, and what is drawn over them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog.headlines import headlines
from hipwright.domain.film_marks import Mark
from hipwright.domain.keeping import Case, Image
from hipwright.domain.landmarks import PlacedPoint
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.film_reading import ReadFilm
from hipwright.engines.reporting.film_marks import marks_for
from hipwright.engines.reporting.label_room import with_room
from hipwright.engines.reporting.reported_case import ReportedPicture

Floats = NDArray[np.float64]

MOST_DRAWN = 4
"""Measurements drawn on one printed film: more would hide it."""

FAR_FROM_JOINT = frozenset(
    {"femoral_shaft_proximal", "femoral_shaft_distal", "obturator_foramen_medial"}
)
"""Landmarks that a close-up of the joint may leave out."""

LETTER_SHARE = 0.026
"""Size of a label over the width of the page's text, as the documents print it."""

PAIRED_SHARE, LONE_SHARE = 0.48, 0.62
"""How much of the page's text width a picture fills beside another, and alone."""

LONE_HIP_MARGIN = 0.4
"""The same on a view of one hip, where the neighborhood tells which way is up."""

SMALLEST_PART = 0.15
"""Least width and height of a printed part, as a share of the film: one landmark has none."""

CROP_MARGIN = 0.12
"""Room around the landmarks on a printed film, as a share of their extent."""


def shown_parts(image: Image, case: Case, read: ReadFilm) -> Iterator[ReportedPicture]:
    """The whole of a film that shows both hips, then the hip itself with what is drawn."""
    film = read.film
    border = FilmBorder(film=film, side=case.side)
    if film.view.shows_both_hips:
        yield _part(image, (), _extent(read, None), "overview")
    drawn = [key for key in headlines() if film.view in read.catalog.measurement(key).views]
    marks: dict[Mark, None] = {}
    for key in drawn[:MOST_DRAWN]:
        marks.update(dict.fromkeys(marks_for(key, read, border)))
    yield _part(image, tuple(marks), _extent(read, case.side), f"{case.side} hip")


def _part(image: Image, marks: tuple[Mark, ...], extent: Floats, shows: str) -> ReportedPicture:
    low, high = extent
    lacking = np.maximum(SMALLEST_PART * min(image.columns, image.rows) - (high - low), 0) / 2
    low, high = low - lacking, high + lacking
    paired = image.view.shows_both_hips
    margin = CROP_MARGIN if paired else LONE_HIP_MARGIN
    pad = margin * float((high - low).max())
    left, top = np.maximum(low - pad, -0.5)
    right, bottom = np.minimum(high + pad, [image.columns - 0.5, image.rows - 0.5])
    share = PAIRED_SHARE if paired else LONE_SHARE
    letter = LETTER_SHARE * float(right - left) / share
    return ReportedPicture(
        crop_px=(float(left), float(top), float(right - left), float(bottom - top)),
        text_width_share=share,
        marks=with_room(marks, letter_px=letter, right_px=float(right)),
        shows=shows,
    )


def _extent(read: ReadFilm, side: Side | None) -> Floats:
    """Corners of what was placed, of one side's hip joint or of everything, (2, 2) in pixels.

    Where nothing was placed, those of the whole film.
    """
    placed = [
        np.array([[item.x_px, item.y_px]]) if isinstance(item, PlacedPoint) else item.xy_px
        for item in read.landmarks
        if side is None or (item.side is side and item.id not in FAR_FROM_JOINT)
    ]
    if not placed:
        return np.array([[-0.5, -0.5], [read.film.columns - 0.5, read.film.rows - 0.5]])
    xy = np.concatenate(placed)
    return np.stack([xy.min(axis=0), xy.max(axis=0)])
