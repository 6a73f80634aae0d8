"""Reads the shelf: TOML files into checked entries."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, TypeVar

from hipwright.catalog.entries import (
    Band,
    EntryKind,
    Grade,
    LandmarkDefinition,
    LandmarkKind,
    MeasurementDefinition,
    Pitfall,
    Population,
    Reference,
    ReferenceRange,
    Repeatability,
)
from hipwright.domain.errors import CatalogError
from hipwright.domain.evidence import Seen
from hipwright.domain.measurement import Unit
from hipwright.domain.study import View

Table = Mapping[str, Any]
Entry = TypeVar("Entry")

DERIVED_INPUTS = MappingProxyType({"femoral_head_center": "femoral_head"})
"""Inputs that follow from another landmark when they are not placed themselves."""

IDENTIFIERS = ("doi", "pmid", "pmc", "url")


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalog:
    """The whole shelf, by id."""

    landmarks: Mapping[str, LandmarkDefinition]
    measurements: Mapping[str, MeasurementDefinition]
    references: Mapping[str, Reference]

    def measurement(self, definition: str) -> MeasurementDefinition:
        """Look up one measurement.

        Raises
        ------
        CatalogError
            The catalog has no entry of that id.
        """
        return _found(self.measurements, definition, "measurement")

    def landmark(self, landmark: str) -> LandmarkDefinition:
        """Look up one landmark.

        Raises
        ------
        CatalogError
            The catalog has no entry of that id.
        """
        return _found(self.landmarks, landmark, "landmark")

    def reference(self, reference: str) -> Reference:
        """Look up one reference.

        Raises
        ------
        CatalogError
            The catalog has no entry of that id.
        """
        return _found(self.references, reference, "reference")

    def to_place_for(self, definition: MeasurementDefinition) -> tuple[str, ...]:
        """The landmarks a reader must place for a measurement, in order."""
        placed = (DERIVED_INPUTS.get(name, name) for name in definition.landmarks)
        return tuple(dict.fromkeys(placed))


def _found(shelf: Mapping[str, Entry], key: str, kind: str) -> Entry:
    if key not in shelf:
        raise CatalogError(
            f"cannot find the {kind} {key!r}",
            found="no such entry",
            needed="an id of the catalog",
            next_step="`hipwright catalog` lists all ids.",
            field=kind,
        )
    return shelf[key]


@cache
def load() -> Catalog:
    """Read the catalog that hipwright ships."""
    shelf = files("hipwright.catalog")
    references = _references(tomllib.loads((shelf / "references.toml").read_text("utf-8")))
    landmarks = _landmarks(tomllib.loads((shelf / "landmarks.toml").read_text("utf-8")))
    folder = shelf / "measurements"
    tables = (
        tomllib.loads(item.read_text("utf-8"))
        for item in sorted(folder.iterdir(), key=lambda item: item.name)
        if item.name.endswith(".toml")
    )
    measurements = _by_id(measurement_from(table) for table in tables)
    return Catalog(landmarks=landmarks, measurements=measurements, references=references)


def _by_id(entries: Iterable[MeasurementDefinition]) -> Mapping[str, MeasurementDefinition]:
    shelf: dict[str, MeasurementDefinition] = {}
    for entry in entries:
        if entry.id in shelf:
            raise CatalogError(f"cannot load the catalog: {entry.id} stands in it twice")
        shelf[entry.id] = entry
    return MappingProxyType(shelf)


def _references(table: Table) -> Mapping[str, Reference]:
    return MappingProxyType({key: _reference(key, row) for key, row in table.items()})


def _reference(key: str, row: Table) -> Reference:
    named = [f"{kind}:{row[kind]}" for kind in IDENTIFIERS if kind in row]
    if len(named) != 1:
        raise CatalogError(
            f"cannot load the reference {key}",
            found=f"{len(named)} identifiers",
            needed=f"one of {', '.join(IDENTIFIERS)}",
            next_step="Correct references.toml.",
        )
    return Reference(
        id=key,
        text=row["text"],
        identifier=named[0],
        seen=Seen(row["seen"]),
        year=row["year"],
        via=row.get("via", ""),
    )


def _landmarks(table: Table) -> Mapping[str, LandmarkDefinition]:
    rows = (_landmark(row) for row in table["landmark"])
    return MappingProxyType({row.id: row for row in rows})


def _landmark(row: Table) -> LandmarkDefinition:
    return LandmarkDefinition(
        id=row["id"],
        name=row["name"],
        kind=LandmarkKind(row["kind"]),
        midline=row["midline"],
        views=_views(row["views"]),
        definition=row["definition"],
        observer_sd_mm=float(row["observer_sd_mm"]),
        observer_sd_cite=tuple(row["observer_sd_cite"]),
        observer_sd_radius_mm=float(row.get("observer_sd_radius_mm", 0.0)),
    )


def _views(names: Iterable[str]) -> tuple[View, ...]:
    return tuple(View(name) for name in names)


UNITS = {
    "angle": Unit.DEGREE,
    "length": Unit.MILLIMETER,
    "percent": Unit.PERCENT,
    "ratio": Unit.ONE,
    "grade": Unit.ONE,
}


def measurement_from(row: Table) -> MeasurementDefinition:
    """Make one measurement from its TOML table."""
    return MeasurementDefinition(
        id=row["id"],
        name=row["name"],
        abbreviation=row.get("abbreviation", ""),
        kind=EntryKind(row.get("kind", "computed")),
        unit=UNITS[row["quantity"]],
        views=_views(row["views"]),
        landmarks=tuple(row.get("landmarks", ())),
        construction=row["construction"],
        sign=row.get("sign", ""),
        reported_to=float(row.get("reported_to", 1)),
        group=row["group"],
        defined_by=tuple(row["defined_by"]),
        needs_baseline=row.get("needs_baseline", False),
        midline=row.get("midline", False),
        undefined_when=row.get("undefined_when", ""),
        position_sensitive=row.get("position_sensitive", False),
        parameters=MappingProxyType(dict(row.get("parameters", {}))),
        pitfalls=tuple(
            Pitfall(text=p["text"], cite=tuple(p.get("cite", ()))) for p in row.get("pitfalls", ())
        ),
        reference_ranges=tuple(_range(r) for r in row.get("reference_ranges", ())),
        population=tuple(Population(**p) for p in row.get("population", ())),
        repeatability=tuple(Repeatability(**r) for r in row.get("repeatability", ())),
        grades=tuple(Grade(**g) for g in row.get("grades", ())),
        details=tuple(row.get("details", ())),
    )


def _range(row: Table) -> ReferenceRange:
    return ReferenceRange(
        scheme=row["scheme"],
        bands=tuple(Band(**band) for band in row["bands"]),
        cite=row["cite"],
        variant=row["variant"],
        views=_views(row.get("views", ())),
        settles=row.get("settles", ""),
        note=row.get("note", ""),
    )
