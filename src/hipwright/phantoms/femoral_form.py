"""The head of the femur and its junction with the neck as a formula.

Directions from the head center are told by their angle from the neck axis (0 points
down the neck, as the alpha angle is counted) and by the hour around the neck: 12
superior, 3 anterior.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.acetabular_form import ClockFrame, clock_window, lengths
from hipwright.phantoms.implicit import Field, Grid, common, union, without
from hipwright.phantoms.person_spec import Bump, HipSpec, Resection

Floats = NDArray[np.float64]

_ONSET_MM = 0.3
_LEAVE_SLOPE = 1.2
_TRIM_REACH_MM = 11.0  # farther out is neck or trochanter, not an imperfect sphere
_NECK_STARTS_DEG = 27.0
_FILLET_MM = 2.0
_CLEAR_MM = 9.0
_CREASE_MM = 1.5
_TROUGH_BEYOND_DEG = 4.0
_TROUGH_REACH_MM = 6.0  # over the sphere; farther out is trochanter


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemoralForm:
    """Head sphere and junction of one femur, its head center at the origin."""

    radius: float
    clock: ClockFrame  # its axis runs down the neck
    spec: HipSpec

    def polar(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """Return distance (mm), angle from the neck axis (rad) and hour of points."""
        distance = lengths(points)
        angle = np.arccos(np.clip(points @ self.clock.axis / distance, -1.0, 1.0))
        return distance, angle, self.clock.hours(points)

    def _trim_mm(self, angle: Floats) -> Floats:
        """How far the model's own bone may stand over the sphere."""
        past = np.maximum(np.radians(self.spec.junction_deg) - angle, 0.0) * self.radius
        leave = np.sqrt((_LEAVE_SLOPE * past) ** 2 + _ONSET_MM**2) - _ONSET_MM
        return leave * (1.0 + (past / (0.11 * self.radius)) ** 2)

    def bump_mm(self, bump: Bump, angle: Floats, hour: Floats) -> Floats:
        """How far a bump stands over the sphere; negative where it is not."""
        window = clock_window(hour, bump.hour, bump.half_extent_hours)
        junction = np.radians(self.spec.junction_deg)
        onset = junction + (np.radians(bump.onset_deg) - junction) * np.sqrt(window)
        past = (onset - angle) * self.radius
        share = np.clip(past / bump.ramp_mm, 0.0, 1.0)
        height = bump.height_mm * window * (1.0 - (1.0 - share) ** 2)
        into_neck = np.maximum(np.radians(_NECK_STARTS_DEG) - angle, 0.0) * self.radius
        return height + np.minimum(past, 0.0) - 0.6 * into_neck - (1.0 - window) ** 2

    def _lowered_mm(self, cut: Resection, over: Floats, angle: Floats, hour: Floats) -> Floats:
        """How far below the model's own bone a resection reaches; negative where it is not."""
        around = clock_window(hour, cut.hour, cut.half_extent_hours)
        middle = np.radians(self.spec.junction_deg + _TROUGH_BEYOND_DEG + _NECK_STARTS_DEG) / 2
        half = middle - np.radians(_NECK_STARTS_DEG)
        along = np.cos(np.pi / 2 * np.clip((angle - middle) / half, -1.0, 1.0)) ** 2
        along = along * np.clip(1.0 - (over - _TROUGH_REACH_MM) / _TROUGH_REACH_MM, 0.0, 1.0)
        past = np.clip((angle - np.radians(cut.onset_deg)) * self.radius / 4.0, 0.0, 1.0)
        neck = np.clip((np.radians(_NECK_STARTS_DEG) - angle) * self.radius / 4.0, 0.0, 1.0)
        return cut.depth_mm * around * along - _CLEAR_MM * (
            np.clip(1.0 - 2.5 * around, 0.0, 1.0) ** 2 + past**2 + neck**2
        )

    def carved(self, field: Field, grid: Grid) -> Field:
        """Give a femur exactly this head, then its bumps, then its resections."""
        reach = 2.0 * self.radius
        box = grid.box(np.full(3, -reach), np.full(3, reach))
        part = grid.within(box)
        points = part.points()
        distance, angle, hour = self.polar(points)
        over = distance - self.radius
        too_much = np.maximum(self._trim_mm(angle) - over, over - _TRIM_REACH_MM)
        own = without(field[box], too_much.astype(np.float32), _CREASE_MM)
        below = np.clip((self.spec.junction_deg + 1.0 - np.degrees(angle)) / 8.0, 0.0, 1.0)
        own = union(own, over.astype(np.float32), (_FILLET_MM * below).astype(np.float32))
        shaped = own
        for bump in self.spec.bumps:
            added = (over - self.bump_mm(bump, angle, hour)).astype(np.float32)
            shaped = union(shaped, added, _FILLET_MM)
        for cut in self.spec.resections:
            floor = own + self._lowered_mm(cut, over, angle, hour).astype(np.float32)
            shaped = common(shaped, floor)
        carved = field.copy()
        carved[box] = shaped
        return carved
