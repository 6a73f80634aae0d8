"""Axes of necks to lay planes around: from the bone models, or as a reader clicked them."""

from __future__ import annotations

from typing import Any

from hipwright.apps.web.slices.desk import SlicesKeeper, build_of
from hipwright.apps.web.slices.findings import kept_axis
from hipwright.domain.keeping import Case, Image
from hipwright.domain.side import Side

HEAD, NECK = "femoral_head_center", "femoral_neck_isthmus"
"""Landmarks of the bone models that span the axis."""


def axes_of(keeper: SlicesKeeper, series: Image, case: Case | None) -> list[dict[str, Any]]:
    """Every axis that is known on a series: the case's own hip first, a reader's before all."""
    clicked = kept_axis(keeper, series, case)
    found: list[dict[str, Any]] = []
    if clicked is not None:
        found.append({"side": None if case is None else case.side.value, **clicked})
    build = build_of(keeper, series)
    sides = sorted(Side, key=lambda side: case is not None and side is not case.side)
    for side in sides:
        if build is None:
            break
        head = build.landmarks.point(HEAD, side)
        neck = build.landmarks.point(NECK, side)
        if head is not None and neck is not None:
            found.append(
                {
                    "side": side.value,
                    "head": list(head.at_mm),
                    "neck": list(neck.at_mm),
                    "from": "from the bone models",
                }
            )
    return found
