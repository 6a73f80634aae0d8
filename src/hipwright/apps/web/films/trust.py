"""How far a film and its heads can be trusted, in words: position, and how round the heads are."""

from __future__ import annotations

from typing import Any

from hipwright.apps.web.films.messages import side_name
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.engines.measurement.measure import ReadFilm, film_position, head_circles
from hipwright.engines.measurement.position import PositionCheck
from hipwright.engines.reporting.numbers import interval_in_words, value_with_unit, written

Json = dict[str, Any]


def trust_of(read: ReadFilm) -> Json:
    """The checks of the film's position, its warning, and the fit of each head."""
    position = film_position(read)
    return {
        "warning": position.warning,
        "checks": [_check(check, read) for check in position.checks],
        "heads": [
            {
                "side": side_name(head.side) if isinstance(head.side, Side) else None,
                "words": head.in_words(),
            }
            for head in head_circles(read)
        ],
    }


def _check(check: PositionCheck, read: ReadFilm) -> Json:
    limit, found = check.limit, check.finding
    entry = read.catalog.measurement(limit.measurement)
    low, high = (written(edge, entry.reported_to) for edge in (limit.low, limit.high))
    words = f"not measured: {getattr(found, 'reason', '')}"
    if isinstance(found, Measurement):
        words = f"{value_with_unit(found)} ({interval_in_words(found)})"
    return {
        "name": entry.name,
        "words": words,
        "limits": f"{low} to {high}{entry.unit.label}",
        "seen": read.catalog.reference(limit.cite).seen.value,
        "warning": check.warning,
    }
