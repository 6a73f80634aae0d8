"""Measure the hips of a person's films from their readings."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from hipwright.catalog import Catalog, load
from hipwright.domain.errors import LandmarkError
from hipwright.domain.keeping import Case, Image, ImageKind, Reading
from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.measurement import Finding
from hipwright.domain.side import Side
from hipwright.domain.study import Film
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.measurement.doubt import Doubt
from hipwright.engines.measurement.measure import measure_film, read_film
from hipwright.workflows.ports import Keeper
from hipwright.workflows.reading_doubt import Circumstances, doubt_of, sex_of

HALF_PIXEL = 0.5
"""Pixel centers are whole numbers, so a picture reaches half a pixel beyond them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadImage:
    """One image of a case with the reading that counts for it, and what was measured."""

    image: Image
    reading: Reading | None
    findings: tuple[Finding, ...]


def measure_landmarks(
    film: Film,
    landmarks: LandmarkSet,
    sides: Iterable[Side],
    *,
    only: Collection[str] | None = None,
    circumstances: Circumstances | None = None,
    software: str = "hipwright",
    catalog: Catalog | None = None,
) -> tuple[Finding, ...]:
    """Measure one film from landmarks at hand.

    Parameters
    ----------
    film, landmarks
        The film and what was placed on it.
    sides
        The hips to measure.
    only
        Ids to measure; all that suit the view by default.
    circumstances
        The reader's spread and the person's sex; by default the catalog's spread, no sex.
    software, catalog
        For the provenance; the shelf to measure by.

    Raises
    ------
    LandmarkError
        A landmark is unknown to the catalog, on the wrong side of the midline, or
        off the picture.
    """
    shelf = load() if catalog is None else catalog
    check_landmarks(film, landmarks, shelf)
    given = circumstances or Circumstances()
    read = read_film(
        film, landmarks, catalog=shelf, doubt=given.doubt, sex=given.sex, software=software
    )
    borders = [FilmBorder(film=film, side=side) for side in sides]
    return measure_film(read, borders, only=only)


def check_landmarks(film: Film, landmarks: LandmarkSet, catalog: Catalog) -> None:
    """Refuse landmarks that the catalog or the picture cannot hold."""
    for item in landmarks:
        entry = catalog.landmarks.get(item.id)
        if entry is None:
            raise LandmarkError(
                f"cannot use the landmark {item.id!r}",
                found="an id the catalog does not have",
                needed="one of the catalog's landmarks",
                next_step="`hipwright catalog` lists them.",
                field=item.id,
            )
        if entry.midline != (item.side is None):
            raise LandmarkError(
                f"cannot use the landmark {item.id}",
                found="no side" if item.side is None else f"side {item.side}",
                needed="none: it lies in the midline" if entry.midline else "left or right",
                next_step="Correct its side.",
                field=item.id,
            )
        _check_on_picture(film, item.id, _corners(item))


def _corners(item: PlacedPoint | PlacedContour) -> Sequence[tuple[float, float]]:
    if isinstance(item, PlacedPoint):
        return [(item.x_px, item.y_px)]
    return [(x, y) for x, y in item.xy_px.tolist()]


def _check_on_picture(film: Film, landmark: str, places: Sequence[tuple[float, float]]) -> None:
    for x, y in places:
        on_columns = -HALF_PIXEL <= x <= film.columns - HALF_PIXEL
        if not (on_columns and -HALF_PIXEL <= y <= film.rows - HALF_PIXEL):
            raise LandmarkError(
                f"cannot use the landmark {landmark}",
                found=f"column {x:.1f}, row {y:.1f}",
                needed=f"a place on the picture of {film.columns} × {film.rows} pixels",
                next_step="Check the unit of the file, or place it again.",
                field=landmark,
            )


def measure_case(
    keeper: Keeper,
    case: Case,
    *,
    observer: str | None = None,
    both_sides: bool = False,
    software: str = "hipwright",
) -> tuple[ReadImage, ...]:
    """Measure every film of a case by its newest reading.

    Parameters
    ----------
    keeper
        The workspace.
    case
        The hip.
    observer
        Whose readings count; by default the one saved last.
    both_sides
        Whether the other hip is measured too, for the comparison of sides.

    Returns
    -------
    tuple
        One entry for each film that shows the hip, oldest first; without a reading
        all its measurements are ``NotMeasured``.
    """
    sides = [case.side, case.side.opposite] if both_sides else [case.side]
    images = [
        image
        for image in keeper.images_of(case.person)
        if image.kind is not ImageKind.SERIES
        and image.view.is_film
        and image.laterality.shows(case.side)
    ]
    images.sort(key=lambda image: image.acquired_on or date.max)
    doubts: dict[str, Doubt] = {}

    def read(image: Image) -> ReadImage:
        reading = newest_reading(keeper, image.id, observer)
        if reading is None:
            return _measure_image(image, None, sides, Circumstances(), software)
        reader = reading.landmarks.observer
        if reader not in doubts:
            doubts[reader] = doubt_of(keeper, reader)
        given = Circumstances(doubt=doubts[reader], sex=sex_of(keeper, image))
        return _measure_image(image, reading, sides, given, software)

    return tuple(read(image) for image in images)


def newest_reading(keeper: Keeper, image: str, observer: str | None) -> Reading | None:
    """The reading of an image that counts: the newest, or the newest of one observer."""
    readings = [
        reading
        for reading in keeper.readings_of(image)
        if observer is None or reading.landmarks.observer == observer
    ]
    return max(readings, key=lambda reading: reading.saved_at, default=None)


def _measure_image(
    image: Image,
    reading: Reading | None,
    sides: Sequence[Side],
    given: Circumstances,
    software: str,
) -> ReadImage:
    landmarks = (
        LandmarkSet(image=image.id, observer="nobody") if reading is None else reading.landmarks
    )
    shown = [side for side in sides if image.laterality.shows(side)]
    findings = measure_landmarks(
        image.film(), landmarks, shown, circumstances=given, software=software
    )
    return ReadImage(image=image, reading=reading, findings=findings)
