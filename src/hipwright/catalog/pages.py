"""The catalog as documentation pages: one for each entry, and an index."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

from hipwright.catalog.entries import (
    Band,
    EntryKind,
    InputName,
    MeasurementDefinition,
    ReferenceRange,
)
from hipwright.catalog.loader import Catalog, load, placed_for
from hipwright.domain.study import VIEW_NAMES

INDEX = "index.md"
CAUTION = (
    "For use by licensed clinicians as one input; not a medical device; not validated on clinical "
    "images; local protocols and the treating surgeon's judgment prevail. Thresholds are "
    "literature values, each with how its source was seen; the practice can change them."
)
VARIANTS = {"this": "this construction", "unstated": "not stated by the source"}


def pages() -> Mapping[str, str]:
    """Every page of the shipped catalog, by file name."""
    return pages_of(load())


def pages_of(catalog: Catalog) -> Mapping[str, str]:
    """Every page of a catalog, by file name."""
    made = {f"{entry.id}.md": _page(entry, catalog) for entry in catalog.measurements.values()}
    return {INDEX: _index(catalog), **made}


def _index(catalog: Catalog) -> str:
    lines = ["# Catalog of measurements", "", CAUTION, ""]
    groups = dict.fromkeys(entry.group for entry in catalog.measurements.values())
    for group in groups:
        lines += [f"## {_capital(group)}", "", "| measurement | views | unit |", "|---|---|---|"]
        lines += [
            f"| [{entry.name}]({entry.id}.md) | {_views(entry)} | {_unit(entry)} |"
            for entry in catalog.measurements.values()
            if entry.group == group
        ]
        lines.append("")
    lines += ["## Landmarks", "", "| landmark | what to place | views |", "|---|---|---|"]
    for landmark in catalog.landmarks.values():
        views = ", ".join(VIEW_NAMES[view] for view in landmark.views)
        lines.append(f"| {landmark.name} (`{landmark.id}`) | {landmark.definition} | {views} |")
    return _text(lines)


def _page(entry: MeasurementDefinition, catalog: Catalog) -> str:
    lines = [f"# {entry.name}", "", *_facts(entry), "", entry.construction, ""]
    lines += _notes(entry)
    lines += _inputs(entry, catalog)
    lines += _grades(entry)
    lines += _ranges(entry, catalog)
    lines += _listed(
        "Published values",
        (
            f"{p.text} Variant: {_variant(p.variant, catalog)}. {_source(p.cite, catalog)}"
            for p in entry.population
        ),
    )
    lines += _listed(
        "Repeatability", (f"{r.text} {_source(r.cite, catalog)}" for r in entry.repeatability)
    )
    lines += _listed(
        "Pitfalls",
        (f"{p.text} {' '.join(_source(c, catalog) for c in p.cite)}" for p in entry.pitfalls),
    )
    lines += _listed("Defined by", (_source(c, catalog) for c in entry.defined_by))
    lines += ["", CAUTION]
    return _text(lines)


def _facts(entry: MeasurementDefinition) -> Iterator[str]:
    yield f"`{entry.id}`" + (f" · {entry.abbreviation}" if entry.abbreviation else "")
    yield f"· {entry.group} · {_views(entry)} · {_unit(entry)}"


def _notes(entry: MeasurementDefinition) -> list[str]:
    notes: list[str] = []
    if entry.sign:
        notes.append(f"- Sign: {entry.sign}.")
    if entry.undefined_when:
        notes.append(f"- Not measured when {entry.undefined_when}.")
    if entry.needs_baseline:
        notes.append("- Leveled by the pelvic baseline, which is stored with the value.")
    if entry.needs_scale:
        notes.append("- Needs a calibrated film.")
    if entry.position_sensitive:
        notes.append("- Shown with a warning where the film's position is outside its limits.")
    if entry.descriptive:
        notes.append("- Descriptive: no decision rests on it.")
    if entry.hours:
        notes.append("- One value for each clock hour: 12 superior, 3 anterior, for either hip.")
    if entry.noise_raises is not None:
        notes.append(
            "- Noise of the bone's surface can only raise it; its interval allows for that."
        )
    if entry.tilts_with_pelvis:
        notes.append("- Given in the anterior pelvic plane and at the patient's own pelvic tilt.")
    notes += [
        f"- Parameter `{name}`: {value:g}"
        + (f", spread {entry.parameter_sd[name]:g}" if name in entry.parameter_sd else "")
        + "."
        for name, value in entry.parameters.items()
    ]
    return [*notes, ""] if notes else []


def _inputs(entry: MeasurementDefinition, catalog: Catalog) -> list[str]:
    def line(name: InputName) -> str:
        landmark = catalog.landmark(placed_for(name.landmark))
        center = "center of: " if name.landmark != landmark.id else ""
        side = f" ({name.side})" if name.side else ""
        return f"{center}**{landmark.name}**{side}: {landmark.definition}"

    features = (catalog.bone_feature(name) for name in entry.features)
    return [
        *_listed("Landmarks", (line(name) for name in entry.inputs)),
        *_listed("Built from", (f"**{f.name}**: {f.definition}" for f in features)),
    ]


def _grades(entry: MeasurementDefinition) -> list[str]:
    if entry.kind is not EntryKind.GRADED:
        return []
    lines = ["## Grades", "", "| grade | meaning |", "|---|---|"]
    lines += [f"| {grade.value} | {grade.text} |" for grade in entry.grades]
    details = [
        f"{d.name}" + (f", {d.low:g} to {d.high:g} {d.unit}" if d.low is not None else "")
        for d in entry.details
    ]
    return [*lines, "", *_listed("Details that can be noted", details)]


def _ranges(entry: MeasurementDefinition, catalog: Catalog) -> list[str]:
    if not entry.reference_ranges:
        return []
    lines = ["## Reference ranges", "", "The first that fits the view classes the value.", ""]
    lines += ["| scheme | classes | measured on | source |", "|---|---|---|---|"]
    for row in entry.reference_ranges:
        classes = "; ".join(f"{band.name} {_edges(band)}" for band in row.bands)
        scheme = row.scheme + _only(row)
        source = _source(row.cite, catalog) + (f" {row.note}" if row.note else "")
        lines.append(f"| {scheme} | {classes} | {_variant(row.variant, catalog)} | {source} |")
    settles = dict.fromkeys(row.settles for row in entry.reference_ranges if row.settles)
    lines += ["", *(f"A value between two classes is settled by {text}." for text in settles), ""]
    return lines


def _only(row: ReferenceRange) -> str:
    parts = [VIEW_NAMES[view] for view in row.views] + ([row.sex] if row.sex else [])
    return f" ({', '.join(parts)})" if parts else ""


def _edges(band: Band) -> str:
    if band.low == -math.inf:
        return f"(< {band.high:g})"
    if band.high == math.inf:
        return f"(≥ {band.low:g})"
    return f"({band.low:g} to < {band.high:g})"


def _variant(variant: str, catalog: Catalog) -> str:
    other = catalog.measurements.get(variant)
    return VARIANTS.get(variant, other.name if other else variant)


def _source(cite: str, catalog: Catalog) -> str:
    reference = catalog.reference(cite)
    via = f", through {reference.via}" if reference.via else ""
    kind, _, identifier = reference.identifier.partition(":")
    label = "" if kind in {"url", "pmc"} else f"{kind.upper()} "
    where = "" if kind == "print" else f" {label}{identifier}."
    return f"({reference.text}{where} Seen: {reference.seen.value}{via}.)"


def _listed(title: str, items: Iterable[str]) -> list[str]:
    lines = [f"- {item.strip()}" for item in items]
    return [f"## {title}", "", *lines, ""] if lines else []


def _views(entry: MeasurementDefinition) -> str:
    return ", ".join(VIEW_NAMES[view] for view in entry.views)


def _unit(entry: MeasurementDefinition) -> str:
    if entry.kind is EntryKind.GRADED:
        return "grade"
    return entry.unit.label.strip() or "ratio"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _text(lines: Iterable[str]) -> str:
    """One text with single empty lines and a line end."""
    kept: list[str] = []
    for line in lines:
        if line or (kept and kept[-1]):
            kept.append(line)
    return "\n".join(kept).rstrip() + "\n"
