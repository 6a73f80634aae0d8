"""The catalog as JSON."""

from __future__ import annotations

import math
from typing import Literal

from hipwright.adapters.wire.documents import SOFTWARE, WireModel
from hipwright.catalog import Catalog
from hipwright.catalog.entries import LandmarkDefinition, MeasurementDefinition, ReferenceRange


class WireLandmark(WireModel):
    """A landmark and its definition."""

    id: str
    name: str
    kind: str
    midline: bool
    views: list[str]
    definition: str


class WireBand(WireModel):
    """One class; a missing end is open."""

    name: str
    low: float | None = None
    high: float | None = None


class WireRange(WireModel):
    """A published set of classes."""

    scheme: str
    variant: str
    views: list[str]
    cite: str
    seen: str
    bands: list[WireBand]


class WireDefinition(WireModel):
    """A measurement or graded reading and its definition."""

    id: str
    name: str
    abbreviation: str
    kind: str
    unit: str
    group: str
    views: list[str]
    landmarks: list[str]
    construction: str
    sign: str
    ranges: list[WireRange]
    grades: list[str]
    references: list[str]


class WireSource(WireModel):
    """A source and how it was seen."""

    id: str
    text: str
    identifier: str
    seen: str
    year: int


class CatalogDocument(WireModel):
    """Landmarks, measurements and references."""

    format: Literal["hipwright.catalog"] = "hipwright.catalog"
    version: Literal[1] = 1
    software: str = SOFTWARE
    landmarks: list[WireLandmark]
    measurements: list[WireDefinition]
    references: list[WireSource]


def catalog_document(catalog: Catalog) -> CatalogDocument:
    """The whole catalog as one document."""
    return CatalogDocument(
        landmarks=[_landmark(entry) for entry in catalog.landmarks.values()],
        measurements=[_definition(entry, catalog) for entry in catalog.measurements.values()],
        references=[
            WireSource(
                id=r.id, text=r.text, identifier=r.identifier, seen=r.seen.value, year=r.year
            )
            for r in catalog.references.values()
        ],
    )


def _landmark(entry: LandmarkDefinition) -> WireLandmark:
    return WireLandmark(
        id=entry.id,
        name=entry.name,
        kind=entry.kind.value,
        midline=entry.midline,
        views=[view.value for view in entry.views],
        definition=entry.definition,
    )


def _definition(entry: MeasurementDefinition, catalog: Catalog) -> WireDefinition:
    return WireDefinition(
        id=entry.id,
        name=entry.name,
        abbreviation=entry.abbreviation,
        kind=entry.kind.value,
        unit=entry.unit.value,
        group=entry.group,
        views=[view.value for view in entry.views],
        landmarks=list(entry.landmarks),
        construction=entry.construction,
        sign=entry.sign,
        ranges=[_range(r, catalog) for r in entry.reference_ranges],
        grades=[grade.value for grade in entry.grades],
        references=list(entry.defined_by),
    )


def _range(entry: ReferenceRange, catalog: Catalog) -> WireRange:
    return WireRange(
        scheme=entry.scheme,
        variant=entry.variant,
        views=[view.value for view in entry.views],
        cite=entry.cite,
        seen=catalog.reference(entry.cite).seen.value,
        bands=[
            WireBand(name=b.name, low=_closed(b.low), high=_closed(b.high)) for b in entry.bands
        ],
    )


def _closed(edge: float) -> float | None:
    return edge if math.isfinite(edge) else None
