"""A construction in the canonical pose, turned home so that it can be drawn over the bones."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.apps.web.bones.at_hand import MeasuredSide
from hipwright.domain.errors import NotFoundError
from hipwright.domain.measurement import Finding, Measurement
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.measurement.space_drawing import SpaceDrawing
from hipwright.engines.reporting.numbers import value_with_unit

Json = dict[str, Any]
Floats = NDArray[np.float64]

_LEVEL, _CLEARLY = 0.9, 0.999
_FLAT = 0.12
"""A construction is seen square to its plane when it is this flat: thickness over width."""


def construction_facts(
    side: MeasuredSide, drawing: SpaceDrawing | None, definition: str, hour: float | None
) -> Json:
    """Points and lines in ``patient_lps``, the value as its label, and from where it is seen well.

    Raises
    ------
    NotFoundError
        The value was not measured on this hip, or nothing is drawn for it.
    """
    found = _found(side.findings, definition, hour)
    if found is None or drawing is None or side.border is None:
        raise NotFoundError(
            "cannot draw the construction",
            found="no construction of this value on this hip",
            needed="a measured value whose construction can be drawn",
            next_step="Its words are in the catalog.",
            field="definition",
        )
    border = side.border
    label = f"{found.abbreviation or found.name} {value_with_unit(found)}"
    back = _seen_from(drawing, border)
    return {
        "definition": definition,
        "side": border.side.value,
        "label": label,
        "points": [
            {"name": p.name, "at": _home(border, p.at_mm[None])[0]} for p in drawing.points
        ],
        "lines": [
            {"name": line.name, "points": _home(border, line.points_mm), "dashed": line.dashed}
            for line in drawing.lines
        ],
        "back": None if back is None else [round(float(x), 4) for x in back],
        "level": back is not None and bool(border.direction_to_canonical(back)[2] < -_CLEARLY),
    }


def _found(
    findings: tuple[Finding, ...], definition: str, hour: float | None
) -> Measurement | None:
    fitting = (
        f
        for f in findings
        if isinstance(f, Measurement) and f.definition == definition and f.hour == hour
    )
    return next(fitting, None)


def _home(border: HipBorder, points: Floats) -> list[list[float]]:
    return np.round(border.from_canonical(points), 3).tolist()


def _seen_from(drawing: SpaceDrawing, border: HipBorder) -> Floats | None:
    """Where the eye is to be: square to a flat construction, from the front, side or above.

    ``None`` for one that has depth: then the view stays as it is.
    """
    solid = [line.points_mm for line in drawing.lines if not line.dashed]
    places = [*(solid or [line.points_mm for line in drawing.lines])]
    places += [point.at_mm[None] for point in drawing.points]
    every = np.concatenate(places) if places else np.empty((0, 3))
    if len(every) < 3:  # noqa: PLR2004 (a plane needs three places)
        return None
    _, spread, axes = np.linalg.svd(every - every.mean(axis=0), full_matrices=False)
    if spread[1] <= 0 or spread[2] > _FLAT * spread[0]:
        return None
    normal = axes[2]
    # from the front or the outside; what lies in a level plane from below, as slices are shown
    if float(normal @ np.array([0.6, 1.0, -0.8])) < 0:
        normal = -normal
    if normal[2] < -_LEVEL:
        normal = np.array([0.0, 0.0, -1.0])
    return border.direction_from_canonical(normal)
