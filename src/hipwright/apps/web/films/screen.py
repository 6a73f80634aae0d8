"""Everything the Films screen needs to know about one film before it draws."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from hipwright.apps.web.films.messages import items_of, side_name
from hipwright.catalog import Catalog
from hipwright.catalog.entries import EntryKind, LandmarkDefinition, MeasurementDefinition
from hipwright.catalog.loader import DERIVED_INPUTS
from hipwright.domain.keeping import Case, Image, ImageKind, Reading
from hipwright.domain.side import Side
from hipwright.domain.study import VIEW_NAMES, View

Json = dict[str, Any]

NOT_ASKED = frozenset({"calibration_ball", *DERIVED_INPUTS})
"""Landmarks that are never asked for: the ball has its own tool, the rest follow from others."""


def film_facts(
    image: Image, case: Case | None, catalog: Catalog, *, sex: str | None = None
) -> Json:
    """The film, its landmarks in reading order, and the measurements of its view."""
    sides = [side for side in Side if image.laterality.shows(side)]
    first = case.side if case is not None and case.side in sides else sides[0]
    ordered = [first, *(side for side in sides if side is not first)]
    entries = [entry for entry in catalog.measurements.values() if _is_shown(entry, image.view)]
    used = {name for entry in entries for name in catalog.to_place_for(entry)}
    titles = _titles(catalog, image.view)
    return {
        "image": image.id,
        "version": image.version,
        "sha256": image.files[0],
        "columns": image.columns,
        "rows": image.rows,
        "aspect": image.calibration.row_mm / image.calibration.column_mm,
        "view": image.view.value,
        "viewName": VIEW_NAMES[image.view],
        "sides": [side_name(side) for side in ordered],
        "caseSide": side_name(first),
        "case": None if case is None else case.code,
        "landmarks": [
            _landmark(entry, used, titles) for entry in reading_order(catalog, image.view)
        ],
        "measurements": [_measurement(entry, image.view, catalog, sex) for entry in entries],
        "scale": scale_facts(image),
        "schematic": _schematic(catalog, image.view),
    }


def _is_shown(entry: MeasurementDefinition, view: View) -> bool:
    return entry.kind is not EntryKind.GRADED and view in entry.views


def reading_order(catalog: Catalog, view: View) -> list[LandmarkDefinition]:
    """The landmarks of a view, in the order they are asked for."""
    asked = [name for step in catalog.reading_order.get(view, ()) for name in step.landmarks]
    seen = (entry.id for entry in catalog.landmarks.values() if view in entry.views)
    names = dict.fromkeys([*asked, *seen])
    return [catalog.landmark(name) for name in names]


def _titles(catalog: Catalog, view: View) -> dict[str, str]:
    steps = catalog.reading_order.get(view, ())
    return {name: step.title for step in steps for name in step.landmarks}


def _schematic(catalog: Catalog, view: View) -> Json | None:
    drawn = catalog.schematics.get(view)
    if drawn is None:
        return None
    return {
        "outlines": [{"points": o.points, "closed": o.closed} for o in drawn.outlines],
        "spots": {n: {"places": s.places, "radius": s.radius} for n, s in drawn.spots.items()},
    }


def _landmark(entry: LandmarkDefinition, used: Collection[str], titles: Mapping[str, str]) -> Json:
    return {
        "id": entry.id,
        "name": entry.name,
        "kind": entry.kind.value,
        "midline": entry.midline,
        "definition": entry.definition,
        "title": titles.get(entry.id, ""),
        "used": entry.id in used and entry.id not in NOT_ASKED,
    }


def _measurement(
    entry: MeasurementDefinition, view: View, catalog: Catalog, sex: str | None
) -> Json:
    chosen = entry.range_for(view, sex)
    return {
        "id": entry.id,
        "name": entry.name,
        "abbreviation": entry.abbreviation,
        "group": entry.group,
        "midline": entry.midline,
        "landmarks": list(catalog.to_place_for(entry)),
        "construction": entry.construction,
        "sign": entry.sign,
        "ranges": [
            {
                "scheme": r.scheme,
                "bands": [_band(b.name, b.low, b.high, entry.unit.label) for b in r.bands],
                "variant": r.variant,
                "source": _source(r.cite, catalog),
                "note": r.note,
                "used": r is chosen,
            }
            for r in entry.reference_ranges
        ],
        "population": [
            {"text": p.text, "source": _source(p.cite, catalog)} for p in entry.population
        ],
        "repeatability": [
            {"text": r.text, "source": _source(r.cite, catalog)} for r in entry.repeatability
        ],
        "pitfalls": [
            {"text": p.text, "sources": [_source(c, catalog) for c in p.cite]}
            for p in entry.pitfalls
        ],
        "sources": [_source(cite, catalog) for cite in entry.defined_by],
    }


def _band(name: str, low: float, high: float, unit: str) -> str:
    if low == float("-inf"):
        return f"{name}: under {high:g}{unit}"
    if high == float("inf"):
        return f"{name}: {low:g}{unit} and over"
    return f"{name}: {low:g} to {high:g}{unit}"


def _source(cite: str, catalog: Catalog) -> Json:
    reference = catalog.reference(cite)
    return {
        "text": reference.text,
        "identifier": reference.identifier,
        "seen": reference.seen.value,
        "firstHand": reference.seen.is_first_hand,
    }


def scale_facts(image: Image) -> Json:
    """Where the millimeters come from, in words."""
    scale = image.calibration
    return {
        "calibrated": scale.is_calibrated,
        "source": scale.source.value,
        "note": scale.note,
        "spacing": f"{scale.column_mm:.4g} × {scale.row_mm:.4g} mm a pixel"
        if scale.is_calibrated
        else "",
        "doubt": f"± {100 * 1.96 * scale.relative_sd:.1f} % (95 %)" if scale.relative_sd else "",
        "magnification": scale.magnification,
    }


def details(image: Image, when: str) -> list[tuple[str, str]]:
    """Label and value pairs about the film; ``when`` tells when it was taken."""
    shows = {"both": "both hips", "unknown": "side not stated"}.get(
        image.laterality.value, f"{image.laterality.value} hip"
    )
    rows = [
        ("View", VIEW_NAMES[image.view]),
        ("Shows", shows),
        ("Position", image.posture.value if image.posture.value != "unknown" else "not stated"),
        ("Taken", when),
        ("Size", f"{image.columns} × {image.rows} pixels"),
        ("Modality", image.modality),
        ("View and side", "agreed by a reader" if image.confirmed else "from the header"),
    ]
    if image.phase:
        rows.append(("Phase", image.phase))
    if not image.patient_right_at_image_left:
        rows.append(("Shown", "mirrored: the patient's right is at the right"))
    return rows


def reading_facts(reading: Reading) -> Json:
    """A kept reading in a list."""
    return {
        "observer": reading.landmarks.observer,
        "reading": reading.landmarks.reading,
        "version": reading.version,
        "savedAt": reading.saved_at.isoformat(),
        "count": len(list(reading.landmarks)),
    }


def reading_with_items(reading: Reading) -> Json:
    """A kept reading with its landmarks."""
    items = [item.model_dump(mode="json") for item in items_of(reading.landmarks)]
    return reading_facts(reading) | {"items": items}


def film_name(image: Image, when: str) -> str:
    """A film in a list: view and time."""
    phase = f", {image.phase}" if image.phase else ""
    return f"{VIEW_NAMES[image.view]}, {when}{phase}"


def films_of(images: Iterable[Image]) -> list[Image]:
    """The films among a person's images."""
    return [i for i in images if i.kind is not ImageKind.SERIES and i.view.is_film and i.files]
