"""Every measurement that a film and its landmarks allow, and why the others are not."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.entries import EntryKind, LandmarkKind, MeasurementDefinition
from hipwright.catalog.loader import DERIVED_INPUTS
from hipwright.domain.errors import SideError
from hipwright.domain.evidence import Provenance
from hipwright.domain.landmarks import LandmarkSet, PlacedPoint
from hipwright.domain.measurement import Finding, Measurement, NotMeasured, Unit
from hipwright.domain.study import Film
from hipwright.engines.anatomy.canonical import FilmBorder
from hipwright.engines.anatomy.leveling import Leveling, level
from hipwright.engines.measurement.classes import classify, interval
from hipwright.engines.measurement.construction import Circles, Construction, Input
from hipwright.engines.measurement.doubt import Doubt, Key, Sampled, sample
from hipwright.engines.measurement.shelf import CONSTRUCTIONS

Floats = NDArray[np.float64]

FEWEST_DEFINED = 0.95
"""Below this share of draws on which the construction exists, the interval is said to be
incomplete (judgment)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadFilm:
    """A film whose landmarks are drawn and leveled: what all its measurements share."""

    film: Film
    landmarks: LandmarkSet
    catalog: Catalog
    sampled: Sampled
    leveling: Leveling
    software: str


def read_film(
    film: Film,
    landmarks: LandmarkSet,
    *,
    catalog: Catalog,
    doubt: Doubt | None = None,
    software: str = "hipwright",
) -> ReadFilm:
    """Draw the landmarks and choose the baseline, once for all measurements of the film."""
    sampled = sample(film, landmarks, catalog, doubt or Doubt())
    return ReadFilm(
        film=film,
        landmarks=landmarks,
        catalog=catalog,
        sampled=sampled,
        leveling=_leveling(film, sampled),
        software=software,
    )


def _leveling(film: Film, sampled: Sampled) -> Leveling:
    if not film.view.shows_both_hips:
        return level(None, None, sampled.draws)
    heads = [circle.center for key, circle in sampled.circles.items() if key[0] == "femoral_head"]
    drops = [xy for key, xy in sampled.points.items() if key[0] == "teardrop_inferior"]
    return level(_pair(heads), _pair(drops), sampled.draws)


def _pair(found: Sequence[Floats]) -> tuple[Floats, Floats] | None:
    match found:
        case [first, second]:
            return first, second
        case _:
            return None


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
        computed entry of the catalog that belongs to the film's view.
    """
    wanted = [
        entry
        for entry in read.catalog.measurements.values()
        if entry.kind is not EntryKind.GRADED
        and read.film.view in entry.views
        and (only is None or entry.id in only)
    ]
    hips = [HipOnFilm(read, border) for border in borders]
    findings = [hip.measure(entry) for hip in hips for entry in wanted if not entry.midline]
    if hips:
        findings += [hips[0].measure(entry) for entry in wanted if entry.midline]
    return tuple(findings)


class HipOnFilm:
    """One hip's landmarks in its canonical plane."""

    def __init__(self, read: ReadFilm, border: FilmBorder) -> None:
        self.read = read
        self.border = border
        self._placed: dict[str, Input | None] = {}

    def measure(self, entry: MeasurementDefinition) -> Finding:
        """Measure one entry, or say why not."""
        side = None if entry.midline else self.border.side
        try:
            inputs = {name: self.input(name) for name in entry.landmarks}
        except SideError as error:
            return NotMeasured(definition=entry.id, name=entry.name, reason=str(error), side=side)
        missing = tuple(name for name, value in inputs.items() if value is None)
        if missing:
            names = ", ".join(self.read.catalog.landmark(_placed_id(m)).name for m in missing)
            return NotMeasured(
                definition=entry.id,
                name=entry.name,
                reason=f"not placed: {names}",
                side=side,
                missing=tuple(_placed_id(name) for name in missing),
            )
        construction = CONSTRUCTIONS[entry.id]
        values = construction.evaluate(*inputs.values())
        if not np.isfinite(values[0]):
            return NotMeasured(
                definition=entry.id, name=entry.name, reason=entry.undefined_when, side=side
            )
        return self._measurement(entry, construction, values)

    def _measurement(
        self, entry: MeasurementDefinition, construction: Construction, values: Floats
    ) -> Measurement:
        read = self.read
        unit = entry.unit
        notes: list[str] = []
        if unit is Unit.MILLIMETER:
            if read.film.calibration.is_calibrated:
                values = values * read.sampled.scale
            else:
                unit = Unit.PIXEL
                notes.append("uncalibrated: pixels of this film, not millimeters")
        defined = float(np.isfinite(values).mean())
        if defined < FEWEST_DEFINED:
            notes.append(f"defined in only {100 * defined:.0f} % of the draws")
        known = unit is entry.unit
        return Measurement(
            definition=entry.id,
            name=entry.name,
            abbreviation=entry.abbreviation,
            unit=unit,
            estimate=interval(values),
            side=None if entry.midline else self.border.side,
            view=read.film.view,
            image=read.film.image,
            observer=read.landmarks.observer,
            provenance=Provenance(
                method=construction.id,
                by=read.landmarks.observer,
                sources=entry.defined_by,
                inputs_sha256=self._digest(entry),
                software=read.software,
            ),
            reported_to=entry.reported_to,
            baseline=read.leveling.in_words() if entry.needs_baseline else "",
            classification=classify(values, entry, read.film.view, read.catalog)
            if known
            else None,
            notes=tuple(notes),
        )

    def input(self, name: str) -> Input | None:
        """A kernel input in the canonical plane, ``None`` where it was not placed."""
        if name not in self._placed:
            self._placed[name] = self._resolve(name)
        return self._placed[name]

    def _resolve(self, name: str) -> Input | None:
        sampled = self.read.sampled
        key = self._key(_placed_id(name))
        if name in DERIVED_INPUTS:
            direct = sampled.points.get((name, key[1]))
            if direct is not None:
                return self._carry(direct)
            circle = sampled.circles.get(key)
            return None if circle is None else self._carry(circle.center)
        match self.read.catalog.landmark(name).kind:
            case LandmarkKind.POINT:
                found = sampled.points.get(key)
                return None if found is None else self._carry(found)
            case LandmarkKind.CIRCLE:
                circle = sampled.circles.get(key)
                if circle is None:
                    return None
                return Circles(center=self._carry(circle.center), radius=circle.radius)
            case LandmarkKind.CONTOUR:
                outline = sampled.contours.get(key)
                return None if outline is None else self._carry(outline)

    def _key(self, name: str) -> Key:
        midline = self.read.catalog.landmark(name).midline
        return (name, None if midline else self.border.side)

    def _carry(self, plane: Floats) -> Floats:
        roll = self.read.leveling.roll_rad
        shaped = roll.reshape((-1,) + (1,) * (plane.ndim - 2))
        return self.border.to_canonical(plane, roll_rad=shaped)

    def _digest(self, entry: MeasurementDefinition) -> str:
        """SHA-256 of the placed landmarks that went in, so a number can be made again."""
        ids = {_placed_id(name) for name in entry.landmarks} | set(entry.landmarks)
        placed = [
            (item.id, str(item.side), _coordinates(item))
            for item in self.read.landmarks
            if item.id in ids
        ]
        return hashlib.sha256(json.dumps(sorted(placed)).encode()).hexdigest()


def _coordinates(item: object) -> object:
    if isinstance(item, PlacedPoint):
        return [item.x_px, item.y_px]
    return item.xy_px.tolist()  # type: ignore[attr-defined]  # the other kind is a contour


def _placed_id(name: str) -> str:
    return DERIVED_INPUTS.get(name, name)
