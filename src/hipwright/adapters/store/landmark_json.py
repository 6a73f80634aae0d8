"""Landmarks as they lie in a reading's row: exact numbers, nothing derived."""

from __future__ import annotations

from typing import Any

from hipwright.domain.landmarks import LandmarkSet, PlacedContour, PlacedPoint
from hipwright.domain.side import Side


def to_json(landmarks: LandmarkSet) -> dict[str, Any]:
    """Points and contours; image, observer and reading are columns of their own."""
    return {
        "points": [
            {"id": p.id, "side": _side(p.side), "x_px": p.x_px, "y_px": p.y_px, "sd_px": p.sd_px}
            for p in landmarks.points
        ],
        "contours": [
            {"id": c.id, "side": _side(c.side), "xy_px": c.xy_px.tolist()}
            for c in landmarks.contours
        ],
    }


def from_json(kept: dict[str, Any], *, image: str, observer: str, reading: int) -> LandmarkSet:
    """The landmarks that a row tells of."""
    return LandmarkSet(
        image=image,
        observer=observer,
        reading=reading,
        points=tuple(
            PlacedPoint(**{**point, "side": _parsed(point["side"])}) for point in kept["points"]
        ),
        contours=tuple(
            PlacedContour(**{**contour, "side": _parsed(contour["side"])})
            for contour in kept["contours"]
        ),
    )


def _side(side: Side | None) -> str | None:
    return side.value if side else None


def _parsed(side: str | None) -> Side | None:
    return Side(side) if side else None
