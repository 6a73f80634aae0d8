"""Every measurement that a film and its landmarks allow, and why the others are not."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from hipwright.catalog.entries import EntryKind
from hipwright.domain.measurement import Finding
from hipwright.engines.anatomy.canonical import FilmBorder, MidlineBorder
from hipwright.engines.measurement.film_reading import (
    HeadCircle,
    ReadFilm,
    head_circles,
    read_film,
)
from hipwright.engines.measurement.hip_on_film import HipOnFilm
from hipwright.engines.measurement.position import (
    FilmPosition,
    film_position,
    mark_by_position,
)

__all__ = [
    "FilmPosition",
    "HeadCircle",
    "HipOnFilm",
    "ReadFilm",
    "film_position",
    "head_circles",
    "measure_film",
    "read_film",
]


def measure_film(
    read: ReadFilm, borders: Iterable[FilmBorder], *, only: Collection[str] | None = None
) -> tuple[Finding, ...]:
    """Measure each hip of a film.

    Parameters
    ----------
    read
        The film with its drawn landmarks.
    borders
        One for each hip to be measured.
    only
        Ids to measure; all that suit the view by default.

    Returns
    -------
    tuple
        A :class:`Measurement` or :class:`NotMeasured` for each hip and each
        computed entry of the catalog that belongs to the film's view; what belongs to
        both hips comes last, once. Signs that depend on the film's position carry a
        warning where it lies outside the catalog's limits.
    """
    wanted = [
        entry
        for entry in read.catalog.measurements.values()
        if entry.kind is not EntryKind.GRADED
        and read.film.view in entry.views
        and (only is None or entry.id in only)
    ]
    hips = [HipOnFilm(read, border) for border in borders]
    position: FilmPosition | None = None
    findings: list[Finding] = []
    for hip in hips:
        for entry in wanted:
            if entry.midline:
                continue
            finding = hip.measure(entry)
            if entry.position_sensitive:
                position = position or film_position(read)
                finding = mark_by_position(finding, position)
            findings.append(finding)
    if hips:
        both = HipOnFilm(read, MidlineBorder(film=read.film))
        findings += [both.measure(entry) for entry in wanted if entry.midline]
    return tuple(findings)
