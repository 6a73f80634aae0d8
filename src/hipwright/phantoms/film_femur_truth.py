"""What a perfect reader would place on the upper femur of a film."""

from dataclasses import dataclass

import numpy as np

from hipwright.phantoms.film_outlines import resampled
from hipwright.phantoms.projection import Array

ONSET_MM = 0.5
"""How far the outline has to leave the circle before the bump is said to begin (judgment)."""

_NARROWEST_FROM, _NARROWEST_TO = 0.75, 1.75  # of the head radius, along the neck
_BASE_BEYOND_MM = 6.0
_BASE_AT_LEAST_MM = 3.0  # nearer to the narrowest place the two give no direction
_ONSET_BEYOND_MM = 9.0
_BASE_WIDENING = 1.10
_OVER_THE_TOP_DEG = 125.0
_FIRST_DEG, _LAST_DEG = 110.0, 25.0
_STAYS_DEG = 3.0
_LEAST_STEP_MM = 1e-9
_HIDDEN_BY_HEAD_DEG = -78.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurReading:
    """Places on the upper femur, film pixels.

    ``onset`` is ``None`` where the outline never leaves the circle; the base where the
    trochanter's shadow joins so soon that the neck shows no direction of its own.
    """

    neck_superior: Array
    neck_inferior: Array
    base_superior: Array | None
    base_inferior: Array | None
    onset: Array | None
    head_neck: Array
    neck_arc: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _NeckFrame:
    """Millimeters about the head center: x along the neck, y to its upper side."""

    center: Array
    along: Array
    upper: Array
    px_per_mm: float

    def mm(self, px: Array) -> Array:
        offset = (px - self.center) / self.px_per_mm
        return np.column_stack([offset @ self.along, offset @ self.upper])

    def px(self, mm: Array) -> Array:
        mm = np.atleast_2d(mm)
        return self.center + self.px_per_mm * (mm[:, :1] * self.along + mm[:, 1:] * self.upper)


def _frame(center: Array, towards: Array, up: Array, px_per_mm: float) -> _NeckFrame:
    along = towards / np.linalg.norm(towards)
    upper = np.array([along[1], -along[0]])
    return _NeckFrame(
        center=center, along=along, upper=upper if upper @ up > 0 else -upper, px_per_mm=px_per_mm
    )


def _width(outline: Array, x: float) -> tuple[float, float] | None:
    """Give the first crossings above and below the axis at x, mm."""
    before, after = outline[:-1], outline[1:]
    crossing = np.flatnonzero((before[:, 0] - x) * (after[:, 0] - x) <= 0)
    span = after[crossing, 0] - before[crossing, 0]
    share = np.where(span == 0, 0.0, (x - before[crossing, 0]) / np.where(span == 0, 1.0, span))
    y = before[crossing, 1] + share * (after[crossing, 1] - before[crossing, 1])
    above, below = y[y > 0], y[y < 0]
    return (float(above.min()), float(below.max())) if len(above) and len(below) else None


def read_femur(
    outline_px: Array, *, center_px: Array, neck_px: Array, radius_mm: float, px_per_mm: float
) -> FemurReading:
    """Read the outline of the upper femur.

    Parameters
    ----------
    outline_px
        Closed outline of the femur's shadow about the hip.
    center_px
        Center of the head's circle.
    neck_px
        Any point about in the middle of the neck: where to look first.
    radius_mm, px_per_mm
        Radius of the circle in the plane of the hip, and film pixels a mm there.

    Notes
    -----
    The neck's axis runs from the head center to the middle of the narrowest
    place, found by turning the axis until both agree.
    """
    up = np.array([0.0, -1.0])
    frame = _frame(center_px, neck_px - center_px, up, px_per_mm)
    reach = np.arange(_NARROWEST_FROM * radius_mm, _NARROWEST_TO * radius_mm, 0.1)
    x, ends = reach[0], (0.0, 0.0)
    for _ in range(6):
        outline = frame.mm(outline_px)
        widths = [(_width(outline, float(r)), float(r)) for r in reach]
        known = [(w[0] - w[1], w, r) for w, r in widths if w is not None]
        _, ends, x = min(known)
        frame = _frame(
            center_px, frame.px(np.array([x, sum(ends) / 2]))[0] - center_px, up, px_per_mm
        )
    outline = frame.mm(outline_px)
    base_x, base = _base(outline, x, ends)
    upper = _upper_line(outline, x, ends[0])
    farther = x + _ONSET_BEYOND_MM
    beyond = _width(outline, farther)
    onset = _onset(
        upper if beyond is None else _upper_line(outline, farther, beyond[0]), radius_mm
    )
    has_base = base_x - x >= _BASE_AT_LEAST_MM
    places = frame.px(np.array([[x, ends[0]], [x, ends[1]], [base_x, base[0]], [base_x, base[1]]]))
    return FemurReading(
        neck_superior=places[0],
        neck_inferior=places[1],
        base_superior=places[2] if has_base else None,
        base_inferior=places[3] if has_base else None,
        onset=None if onset is None else frame.px(onset)[0],
        head_neck=frame.px(resampled(upper, 48)),
        neck_arc=frame.px(_lower_line(outline, base_x, base[1])),
    )


def _base(
    outline: Array, x: float, ends: tuple[float, float]
) -> tuple[float, tuple[float, float]]:
    """Go on towards the shaft while the neck stays about as wide."""
    narrowest = ends[0] - ends[1]
    best = (x, ends)
    for step in np.arange(0.5, _BASE_BEYOND_MM + 0.25, 0.5):
        width = _width(outline, x + float(step))
        if width is None or width[0] - width[1] > _BASE_WIDENING * narrowest:
            break
        best = (x + float(step), width)
    return best


def _upper_line(outline: Array, x: float, y: float) -> Array:
    """Give the upper outline from over the top of the head to the narrowest neck, mm."""
    angle = np.degrees(np.arctan2(outline[:, 1], outline[:, 0]))
    least = np.degrees(np.arctan2(y, x))
    kept = (angle >= least) & (angle <= _OVER_THE_TOP_DEG) & (outline[:, 0] <= x + 1e-6)
    line = outline[kept]
    order = np.argsort(-angle[kept], kind="stable")
    line = line[order]
    keep = np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > _LEAST_STEP_MM])
    return np.vstack([line[keep], [x, y]])


def _lower_line(outline: Array, x: float, y: float) -> Array:
    """Give the lower outline from the base of the neck to where the head hides it, mm."""
    angle = np.degrees(np.arctan2(outline[:, 1], outline[:, 0]))
    start = np.degrees(np.arctan2(y, x))
    kept = (angle <= start) & (angle >= _HIDDEN_BY_HEAD_DEG) & (outline[:, 0] <= x + 1e-6)
    line = outline[kept][np.argsort(-angle[kept], kind="stable")]
    return resampled(np.vstack([[x, y], line]), 8)


def _onset(upper: Array, radius_mm: float) -> Array | None:
    """Give the first place, from the top, where the outline leaves the circle for good, mm."""
    angle = np.degrees(np.arctan2(upper[:, 1], upper[:, 0]))
    height = np.linalg.norm(upper, axis=1) - radius_mm
    even = np.arange(_FIRST_DEG, _LAST_DEG, -0.25)
    falling: Array = -angle
    level: Array = np.array(np.interp(-even, falling, height), dtype=np.float64)
    stays = round(_STAYS_DEG / 0.25)
    beyond = level > ONSET_MM
    for k in range(1, len(even) - stays):
        if beyond[k : k + stays].all():
            before, after = float(level[k - 1]), float(level[k])
            share = np.clip((ONSET_MM - before) / max(after - before, _LEAST_STEP_MM), 0.0, 1.0)
            turn = np.radians(even[k - 1] + share * (even[k] - even[k - 1]))
            return (radius_mm + ONSET_MM) * np.array([np.cos(turn), np.sin(turn)])
    return None
