"""One hip's landmarks in its canonical plane, and what they measure."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog.entries import InputName, LandmarkKind, MeasurementDefinition
from hipwright.catalog.loader import DERIVED_INPUTS, placed_for
from hipwright.domain.errors import SideError
from hipwright.domain.evidence import Provenance
from hipwright.domain.measurement import Finding, Measurement, NotMeasured, Unit
from hipwright.engines.anatomy.canonical import FilmBorder, MidlineBorder, side_named
from hipwright.engines.measurement.classes import classify, interval
from hipwright.engines.measurement.construction import Circles, Construction, Input
from hipwright.engines.measurement.doubt import parameter_key
from hipwright.engines.measurement.film_reading import (
    HEAD_CENTER,
    LEVELED_BY,
    ReadFilm,
    head_center,
)
from hipwright.engines.measurement.shelf import CONSTRUCTIONS

Floats = NDArray[np.float64]

FEWEST_DEFINED = 0.95
"""Below this share of draws on which the construction exists, the interval is said to be
incomplete (judgment)."""

UNCALIBRATED_NOTE = "uncalibrated: pixels of this film, not millimeters"


class HipOnFilm:
    """One hip on one film, or what belongs to both, in its canonical plane."""

    def __init__(self, read: ReadFilm, border: FilmBorder | MidlineBorder) -> None:
        self.read = read
        self.border = border
        self._placed: dict[str, Input | None] = {}

    def measure(self, entry: MeasurementDefinition) -> Finding:
        """Measure one entry, or say why not."""
        try:
            inputs = {name: self.input(name) for name in entry.landmarks}
        except SideError as error:
            return self._not(entry, str(error))
        missing = [name for name, value in inputs.items() if value is None]
        if missing:
            names = ", ".join(self._named(name) for name in missing)
            placed = dict.fromkeys(placed_for(InputName.parse(name).landmark) for name in missing)
            return self._not(entry, f"not placed: {names}", missing=tuple(placed))
        if entry.needs_scale and not self.read.film.calibration.is_calibrated:
            return self._not(entry, "the film is uncalibrated and this construction needs mm")
        construction = CONSTRUCTIONS[entry.id]
        placed = (value for value in inputs.values() if value is not None)
        values = construction.evaluate(*placed, parameters=self._parameters(entry))
        if not np.isfinite(values[0]):
            return self._not(entry, entry.undefined_when)
        return self._measurement(entry, construction, values)

    def _not(
        self, entry: MeasurementDefinition, reason: str, missing: tuple[str, ...] = ()
    ) -> NotMeasured:
        return NotMeasured(
            definition=entry.id,
            name=entry.name,
            reason=reason,
            side=self.border.side,
            missing=missing,
        )

    def _named(self, name: str) -> str:
        parsed = InputName.parse(name)
        words = self.read.catalog.landmark(placed_for(parsed.landmark)).name
        return f"{words} ({parsed.side})" if parsed.side else words

    def _parameters(self, entry: MeasurementDefinition) -> Mapping[str, Floats | float]:
        """The catalog's parameters; what is in mm follows the doubt of the film's scale."""
        drawn: dict[str, Floats | float] = dict(entry.parameters)
        for name, sd in entry.parameter_sd.items():
            normals = self.read.doubt.normals(self.read.catalog)[parameter_key(entry.id, name)]
            drawn[name] = entry.parameters[name] + sd * normals[:, 0]
        for name in entry.parameters:
            if name.endswith("_mm"):
                drawn[name] = drawn[name] / self.read.sampled.scale
        return drawn

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
                notes.append(UNCALIBRATED_NOTE)
        defined = float(np.isfinite(values).mean())
        if defined < FEWEST_DEFINED:
            notes.append(f"defined in only {100 * defined:.0f} % of the draws")
        estimate = interval(values)
        return Measurement(
            definition=entry.id,
            name=entry.name,
            abbreviation=entry.abbreviation,
            unit=unit,
            estimate=estimate,
            side=self.border.side,
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
            classification=classify(
                values, estimate, entry, read.film.view, read.catalog, sex=read.sex
            )
            if _has_classes(entry, unit)
            else None,
            notes=tuple(notes),
        )

    def input(self, name: str) -> Input | None:
        """A kernel input in the canonical plane, ``None`` where it was not placed."""
        if name not in self._placed:
            self._placed[name] = self._resolve(InputName.parse(name))
        return self._placed[name]

    def _resolve(self, name: InputName) -> Input | None:
        sampled, entry = self.read.sampled, self.read.catalog.landmark(name.landmark)
        side = side_named(name.side) or (None if entry.midline else self.border.side)
        key = (name.landmark, side)
        if name.landmark == HEAD_CENTER:
            return self._carry(head_center(sampled, side))
        match entry.kind:
            case LandmarkKind.POINT:
                return self._carry(sampled.points.get(key))
            case LandmarkKind.CONTOUR:
                return self._carry(sampled.contours.get(key))
            case LandmarkKind.CIRCLE:
                circle = sampled.circles.get(key)
                center = self._carry(None if circle is None else circle.center)
                if circle is None or center is None:
                    return None
                return Circles(center=center, radius=circle.radius)

    def _carry(self, plane: Floats | None) -> Floats | None:
        if plane is None:
            return None
        roll = self.read.leveling.roll_rad
        shaped = roll.reshape((-1,) + (1,) * (plane.ndim - 2))
        return self.border.to_canonical(plane, roll_rad=shaped)

    def _digest(self, entry: MeasurementDefinition) -> str:
        """SHA-256 of the placed landmarks that went in, so a number can be made again."""
        own = {name.landmark for name in entry.inputs}
        ids = own | {DERIVED_INPUTS[name] for name in own if name in DERIVED_INPUTS}
        if entry.needs_baseline:
            ids |= LEVELED_BY
        digest = hashlib.sha256()
        for landmark, written in self.read.placed_bytes:
            if landmark in ids:
                digest.update(written)
        return digest.hexdigest()


def _has_classes(entry: MeasurementDefinition, unit: Unit) -> bool:
    """Lengths in pixels have none, except signs: their edge at zero needs no scale."""
    if unit is entry.unit:
        return True
    edges = {band.high for r in entry.reference_ranges for band in r.bands[:-1]}
    return edges == {0.0}
