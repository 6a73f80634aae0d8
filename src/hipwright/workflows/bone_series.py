"""Which CT series bones are made from: the hips', and knees and ankles of the same scan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from datetime import date

from hipwright.domain.errors import NotFoundError, VolumeError
from hipwright.domain.keeping import Case, Image, ImageKind
from hipwright.domain.volume import Modality
from hipwright.workflows.ports import Keeper, SeriesPlace, VolumeReader

TALLEST_LEFT_OUT_MM = 60.0
"""A series of less height shows no whole hip (judgment)."""

SHARED = 0.3
"""Two series that share more than this of their height show the same part (judgment)."""

Placed = tuple[Image, SeriesPlace]


def ct_series(keeper: Keeper, reader: VolumeReader, person: str) -> list[Placed]:
    """Every CT series of a person that says where it lies, newest first."""
    placed = [
        (image, place)
        for image in keeper.images_of(person)
        if image.kind is ImageKind.SERIES and image.modality == Modality.CT.value
        for place in [reader.place(image, keeper.get_file)]
        if place is not None
    ]
    placed.sort(key=lambda one: one[0].acquired_on or date.min, reverse=True)
    return placed


def scans_of(keeper: Keeper, reader: VolumeReader, person: str) -> list[Image]:
    """The CT series bones can be made from, newest first.

    Knees and ankles that a hips' series takes along are left out; what does not say where it
    lies stays, because the reader refuses it in its own words.
    """
    series = [
        image
        for image in keeper.images_of(person)
        if image.kind is ImageKind.SERIES and image.modality == Modality.CT.value
    ]
    series.sort(key=lambda image: image.acquired_on or date.min, reverse=True)
    placed: list[Placed] = []
    for image in series:
        with suppress(VolumeError):
            place = reader.place(image, keeper.get_file)
            if place is not None:
                placed.append((image, place))
    beside = {part.id for main in placed for part, _ in _beside(main, placed)}
    return [image for image in series if image.id not in beside]


def series_for_bones(
    keeper: Keeper, reader: VolumeReader, case: Case, image: str | None = None
) -> tuple[Image, ...]:
    """The series to make a case's bones from, the hips' first.

    Parameters
    ----------
    image
        The hips' series, where somebody has chosen; by default the newest scan's highest
        one, with the thinnest slices where it was reconstructed several times.

    Raises
    ------
    NotFoundError
        The case has no CT series that shows a hip.
    """
    if image is not None:
        scan = series_of_scan(keeper, reader, image)
        if scan[0].person != case.person:
            raise NotFoundError(
                "cannot make the bones",
                found="a series of another person",
                needed=f"a CT series of case {case.code}",
                next_step="`hipwright show CASE` lists its images.",
                field="image",
            )
        return scan
    placed = ct_series(keeper, reader, case.person)
    main = _hips(placed, case)
    return (main[0], *(one for one, _ in _beside(main, placed)))


def series_of_scan(keeper: Keeper, reader: VolumeReader, image: str) -> tuple[Image, ...]:
    """A hips' series, and those of knees and ankles in the same scan.

    What is no CT series is given back alone: the reader refuses it in its own words.
    """
    chosen = keeper.image(image)
    placed = ct_series(keeper, reader, chosen.person)
    main = next((one for one in placed if one[0].id == chosen.id), None)
    if main is None:
        return (chosen,)
    return (main[0], *(one for one, _ in _beside(main, placed)))


def _hips(placed: Sequence[Placed], case: Case) -> Placed:
    tall = [
        one
        for one in placed
        if _height(one[1]) >= TALLEST_LEFT_OUT_MM and one[0].laterality.shows(case.side)
    ]
    if not tall:
        raise NotFoundError(
            "cannot make the bones",
            found=f"no CT series that shows the {case.side} hip",
            needed="a CT of the pelvis or the hip",
            next_step="Import one with `hipwright add`.",
            field="case",
        )
    newest = tall[0][0].study
    there = [one for one in tall if one[0].study == newest]
    top = max(place.high_mm for _, place in there)
    highest = [one for one in there if _shared(one[1], top - _height(one[1]), top) > SHARED]
    return min(highest, key=lambda one: (one[1].thickness_mm or 99.0, -one[1].slices))


def _beside(main: Placed, placed: Sequence[Placed]) -> Iterator[Placed]:
    """Other parts of the leg in the same scan and frame, each once, by its thinnest series."""
    image, place = main
    taken = [place]
    below = [
        one
        for one in placed
        if one[0].id != image.id
        and one[0].study == image.study
        and one[1].frame == place.frame
        and one[1].low_mm < place.low_mm
    ]
    for one in sorted(below, key=lambda o: (o[1].thickness_mm or 99.0, -o[1].slices)):
        if all(_shared(one[1], other.low_mm, other.high_mm) <= SHARED for other in taken):
            taken.append(one[1])
            yield one


def _height(place: SeriesPlace) -> float:
    return place.high_mm - place.low_mm


def _shared(place: SeriesPlace, low_mm: float, high_mm: float) -> float:
    """The share of a series' height that lies between two heights."""
    common = min(place.high_mm, high_mm) - max(place.low_mm, low_mm)
    return max(common, 0.0) / max(_height(place), 1.0)
