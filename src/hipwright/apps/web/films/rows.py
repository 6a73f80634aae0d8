"""Findings and marks as the screen shows them: words, fractions and pixels, ready to draw."""

from __future__ import annotations

from typing import Any

from hipwright.apps.web.films.messages import side_name
from hipwright.catalog import Catalog
from hipwright.domain.film_marks import ArcMark, CircleMark, LabelMark, LineMark, Mark, PointMark
from hipwright.domain.measurement import Classification, Finding, Measurement, NotMeasured
from hipwright.domain.side import Side
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit
from hipwright.engines.reporting.range_bar import range_bar

Json = dict[str, Any]


def row_of(finding: Finding, catalog: Catalog, *, sex: str | None = None) -> Json:
    """One finding as a row of the table; ``sex`` chooses between ranges of the sexes."""
    match finding:
        case NotMeasured():
            return {
                "id": finding.definition,
                "side": _side(finding.side),
                "reason": finding.reason,
                "missing": list(finding.missing),
            }
        case Measurement():
            return _measured(finding, catalog, sex)


def _measured(found: Measurement, catalog: Catalog, sex: str | None) -> Json:
    bar = range_bar(found, catalog.measurement(found.definition), sex=sex)
    return {
        "id": found.definition,
        "side": _side(found.side),
        "value": found.value,
        "unit": found.unit.value,
        "text": value_with_unit(found),
        "interval": interval_in_words(found),
        "baseline": found.baseline,
        "notes": list(found.notes),
        "quality": found.quality_warning,
        "class": None if found.classification is None else _class(found.classification),
        "bar": None
        if bar is None
        else {
            "bands": [[name, start, end] for name, start, end in bar.bands],
            "value": bar.value,
            "low": bar.low,
            "high": bar.high,
            "label": bar.label,
        },
    }


def _class(found: Classification) -> Json:
    return {
        "words": found.in_words(),
        "split": found.is_split,
        "scheme": found.scheme,
        "variant": found.variant,
        "seen": found.reference.seen.value,
        "source": found.reference.text,
        "settles": found.settles,
    }


def _side(side: object) -> str | None:
    return side_name(side) if isinstance(side, Side) else None


def mark_of(mark: Mark) -> Json | None:
    """One mark in ``film_px``; placed points are left out, since the screen has its handles."""
    match mark:
        case LineMark():
            return {"kind": "line", "stroke": mark.stroke.value, "xy": mark.xy}
        case ArcMark():
            return {"kind": "arc", "stroke": mark.stroke.value, "xy": mark.xy}
        case CircleMark():
            return {"kind": "circle", "stroke": mark.stroke.value, "xy": mark.xy}
        case LabelMark():
            return {"kind": "label", "at": mark.at, "text": mark.text}
        case PointMark():
            return None
