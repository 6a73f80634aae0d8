"""Addresses of the Catalog screen."""

from __future__ import annotations

import math
from typing import Any

from fastapi import APIRouter, Request, Response

from hipwright.apps.web.showing.pages import render
from hipwright.catalog import load
from hipwright.catalog.entries import Band, MeasurementDefinition, Reference
from hipwright.engines.reporting.numbers import written

router = APIRouter()


@router.get("/catalog")
def shelf(request: Request) -> Response:
    """All entries, by the part of the hip."""
    groups: dict[str, list[MeasurementDefinition]] = {}
    for entry in load().measurements.values():
        groups.setdefault(entry.group, []).append(entry)
    return render(request, "catalog/shelf.html", here="Catalog", groups=groups)


@router.get("/catalog/{definition}")
def show(request: Request, definition: str) -> Response:
    """One entry with its papers."""
    catalog = load()
    entry = catalog.measurement(definition)
    landmarks = [catalog.landmark(key) for key in catalog.to_place_for(entry)]
    return render(
        request,
        "catalog/entry.html",
        here="Catalog",
        entry=entry,
        landmarks=landmarks,
        ranges=[_range(one, entry.unit.label) for one in entry.reference_ranges],
        source=catalog.reference,
        link=_link,
        number=lambda value: written(value, 0.01).rstrip("0").rstrip("."),
        siblings=[
            other
            for other in catalog.measurements.values()
            if other.id != entry.id and other.id.partition(".")[0] == entry.id.partition(".")[0]
        ],
    )


def _range(found: Any, unit: str) -> dict[str, Any]:
    return {"range": found, "bands": [(band.name, _limits(band, unit)) for band in found.bands]}


def _limits(band: Band, unit: str) -> str:
    low, high = f"{band.low:g}{unit}", f"{band.high:g}{unit}"
    if math.isinf(band.low) and math.isinf(band.high):
        return "any"
    if math.isinf(band.low):
        return f"under {high}"
    return f"{low} and over" if math.isinf(band.high) else f"{low} to under {high}"


def _link(reference: Reference) -> str:
    """The identifier as it is written: it is not a link, since nothing leaves the machine."""
    kind, _, value = reference.identifier.partition(":")
    named = value.upper().startswith(kind.upper())
    return value if kind == "url" or named else f"{kind.upper()} {value}"
