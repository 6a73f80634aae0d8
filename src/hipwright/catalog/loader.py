"""Reads the shelf: TOML files into checked entries."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, TypeVar

from hipwright.catalog.bone_features import BoneFeature, bone_features_from
from hipwright.catalog.entries import (
    Detail,
    EntryKind,
    Grade,
    InputName,
    LandmarkDefinition,
    LandmarkKind,
    MeasurementDefinition,
    NoiseRaises,
    Pitfall,
    Population,
    Reference,
    Repeatability,
)
from hipwright.catalog.guidance import (
    PositionLimit,
    ReadingStep,
    Schematic,
    position_limits_from,
    reading_order_from,
    schematics_from,
)
from hipwright.catalog.practice import range_from, with_practice_ranges
from hipwright.domain.errors import CatalogError
from hipwright.domain.evidence import Seen
from hipwright.domain.measurement import Unit
from hipwright.domain.study import View

Table = Mapping[str, Any]
Entry = TypeVar("Entry")

DERIVED_INPUTS = MappingProxyType({"femoral_head_center": "femoral_head"})
"""Inputs that follow from another landmark when they are not placed themselves."""

IDENTIFIERS = ("doi", "pmid", "pmc", "url", "print")


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalog:
    """The whole shelf, by id.

    ``reading_order`` has the steps of guided placement for each view, ``schematics``
    the stylized outline to show with them, ``position_limits`` what a film's position
    may be before its signs are no longer to be trusted.
    """

    landmarks: Mapping[str, LandmarkDefinition]
    bone_features: Mapping[str, BoneFeature]
    measurements: Mapping[str, MeasurementDefinition]
    references: Mapping[str, Reference]
    reading_order: Mapping[View, tuple[ReadingStep, ...]]
    schematics: Mapping[View, Schematic]
    position_limits: tuple[PositionLimit, ...]

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

    def bone_feature(self, feature: str) -> BoneFeature:
        """Look up one feature of the bones.

        Raises
        ------
        CatalogError
            The catalog has no entry of that id.
        """
        return _found(self.bone_features, feature, "bone feature")

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
        placed = (placed_for(InputName.parse(name).landmark) for name in definition.landmarks)
        return tuple(dict.fromkeys(placed))


def placed_for(landmark: str) -> str:
    """The landmark that a reader places to have this one: the outline for the center."""
    return DERIVED_INPUTS.get(landmark, landmark)


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


def load(overrides: Table | None = None) -> Catalog:
    """Read the catalog that hipwright ships, with a practice's own thresholds.

    Parameters
    ----------
    overrides
        A table as TOML gives it, see :func:`~hipwright.catalog.practice.
        with_practice_ranges`; ``None`` for the catalog as shipped.

    Raises
    ------
    CatalogError
        The overrides name an unknown measurement, lack their date or their bands.
    """
    shipped = _shipped()
    if not overrides:
        return shipped
    measurements, references = with_practice_ranges(
        overrides, shipped.measurements, shipped.references
    )
    return replace(shipped, measurements=measurements, references=references)


@cache
def _shipped() -> Catalog:
    shelf = files("hipwright.catalog")

    def table(name: str) -> Table:
        return tomllib.loads((shelf / name).read_text("utf-8"))

    entries = (
        measurement_from(tomllib.loads(item.read_text("utf-8")))
        for item in sorted((shelf / "measurements").iterdir(), key=lambda item: item.name)
        if item.name.endswith(".toml")
    )
    return Catalog(
        landmarks=_landmarks(table("landmarks.toml")),
        bone_features=bone_features_from(table("bone_features.toml")),
        measurements=_in_reading_order(_by_id(entries), table("reading_order.toml")),
        references=_references(table("references.toml")),
        reading_order=reading_order_from(table("reading_order.toml")),
        schematics=schematics_from(table("schematics.toml")),
        position_limits=position_limits_from(table("position_limits.toml")),
    )


def _in_reading_order(
    shelf: Mapping[str, MeasurementDefinition], table: Table
) -> Mapping[str, MeasurementDefinition]:
    """The entries as a reader wants them listed; what the list leaves out comes last."""
    listed = [name for name in table["measurements"] if name in shelf]
    return MappingProxyType({name: shelf[name] for name in dict.fromkeys([*listed, *shelf])})


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
        group=row["group"],
        observer_sd_mm=_along_axes(row["observer_sd_mm"]),
        observer_sd_cite=tuple(row["observer_sd_cite"]),
        observer_sd_radius_mm=float(row.get("observer_sd_radius_mm", 0.0)),
        moves_with=row.get("moves_with", ""),
        optional=row.get("optional", False),
    )


def _along_axes(written: float | list[float]) -> tuple[float, float]:
    along_u, along_v = written if isinstance(written, list) else (written, written)
    return float(along_u), float(along_v)


def _views(names: Iterable[str]) -> tuple[View, ...]:
    return tuple(View(name) for name in names)


UNITS = {
    "angle": Unit.DEGREE,
    "length": Unit.MILLIMETER,
    "percent": Unit.PERCENT,
    "ratio": Unit.ONE,
    "grade": Unit.ONE,
    "area": Unit.SQUARE_MILLIMETER,
    "volume": Unit.CUBIC_MILLIMETER,
    "clock_hour": Unit.CLOCK_HOUR,
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
        features=tuple(row.get("features", ())),
        hours=tuple(float(hour) for hour in row.get("hours", ())),
        tilts_with_pelvis=row.get("tilts_with_pelvis", False),
        noise_raises=NoiseRaises(row["noise_raises"]) if "noise_raises" in row else None,
        construction=row["construction"],
        sign=row.get("sign", ""),
        reported_to=float(row.get("reported_to", 1)),
        group=row["group"],
        defined_by=tuple(row["defined_by"]),
        needs_baseline=row.get("needs_baseline", False),
        midline=row.get("midline", False),
        undefined_when=row.get("undefined_when", ""),
        position_sensitive=row.get("position_sensitive", False),
        needs_scale=row.get("needs_scale", False),
        descriptive=row.get("descriptive", False),
        parameters=MappingProxyType(dict(row.get("parameters", {}))),
        parameter_sd=MappingProxyType(dict(row.get("parameter_sd", {}))),
        pitfalls=tuple(
            Pitfall(text=p["text"], cite=tuple(p.get("cite", ()))) for p in row.get("pitfalls", ())
        ),
        reference_ranges=tuple(range_from(r) for r in row.get("reference_ranges", ())),
        population=tuple(
            Population(**(p | {"views": _views(p.get("views", ()))}))
            for p in row.get("population", ())
        ),
        repeatability=tuple(Repeatability(**r) for r in row.get("repeatability", ())),
        grades=tuple(Grade(**g) for g in row.get("grades", ())),
        details=tuple(
            Detail(**(d | {"choices": tuple(d.get("choices", ()))}))
            for d in row.get("details", ())
        ),
    )
