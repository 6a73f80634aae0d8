"""A right hip bone around a socket that is a formula: sphere, rim by the clock, fossa, notch.

Canonical axes: X lateral, Y anterior, Z superior, mm, the femoral head's center at the
origin. Directions about the socket are told by their angle from the inward pole (against
the opening) and by the hour around the opening: 12 superior, 3 anterior.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.phantoms.body_parts import ball, joined, parts_at, plate, rod
from hipwright.phantoms.closed_forms import SocketAngles

Floats = NDArray[np.float64]

DEGREES_PER_HOUR = 30.0
CREST_STEP_HOURS = 0.005
NOTCH_HOUR = 6.0
HALF_INTERHEAD_MM = 88.0
FRONT_MM = 45.0
"""The anterior pelvic plane lies so far before the heads."""

_WALL_MM = 6.0
_BEVEL_DEG_PER_MM = 1.6
_MOUTH_MM = 12.0
_BLEND_MM = 8.0
_NOTCH_HALF_MM = 9.0
_NOTCH_FROM_DEG = 55.0
_FOSSA_ANGLE_DEG, _FOSSA_DEG, _FOSSA_WALL_DEG, _FOSSA_MM = 30.0, 30.0, 6.0, 3.5
_SYMPHYSIS_MM = 2.5
_ISCHIUM_MM = 14.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RimWave:
    """``degrees`` · cos(``count`` · (turn − that of ``hour``)): a wave in the rim's angle."""

    count: int
    hour: float
    degrees: float


@dataclass(frozen=True, kw_only=True)
class SocketForm:
    """One socket and the bone around it.

    Parameters
    ----------
    radius_mm
        Sphere of the articular surface.
    center_mm
        Its center against the head's.
    inclination_deg, anteversion_deg
        Of the opening, as an anatomist names them: from straight down; in the axial slice.
    rim_deg
        Where the articular sphere ends, from the inward pole, before the waves.
    """

    radius_mm: float = 28.0
    center_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    inclination_deg: float = 50.0
    anteversion_deg: float = 19.0
    rim_deg: float = 80.0
    waves: tuple[RimWave, ...] = ()
    spine_low_mm: float = 0.0

    @cached_property
    def center(self) -> Floats:
        """Center of the articular sphere."""
        return np.array(self.center_mm)

    @cached_property
    def angles(self) -> SocketAngles:
        """The opening in every way of naming it."""
        return SocketAngles.anatomical(self.inclination_deg, self.anteversion_deg)

    @cached_property
    def opening(self) -> Floats:
        """Out of the socket, unit vector."""
        return np.array([self.angles.lateral, self.angles.forward, -self.angles.downward])

    @cached_property
    def twelve(self) -> Floats:
        """12 o'clock around the opening, unit vector."""
        up = np.array([0.0, 0.0, 1.0]) - self.opening[2] * self.opening
        return up / np.linalg.norm(up)

    @cached_property
    def three(self) -> Floats:
        """3 o'clock around the opening, unit vector."""
        return np.asarray(np.cross(self.twelve, self.opening))

    def directions(self, angle_deg: Floats | float, hour: Floats | float) -> Floats:
        """Unit vectors at angles from the inward pole and hours, (..., 3)."""
        angle, turn = np.broadcast_arrays(
            np.radians(angle_deg), np.radians(DEGREES_PER_HOUR * np.asarray(hour))
        )
        ring = np.cos(turn)[..., None] * self.twelve + np.sin(turn)[..., None] * self.three
        return -np.cos(angle)[..., None] * self.opening + np.sin(angle)[..., None] * ring

    def rim_angle_deg(self, hours: Floats) -> Floats:
        """Where the articular sphere ends at hours, from the inward pole."""
        turn = np.radians(DEGREES_PER_HOUR * np.asarray(hours, dtype=np.float64))
        total = np.full_like(turn, self.rim_deg)
        for wave in self.waves:
            at = np.radians(DEGREES_PER_HOUR * wave.hour)
            total += wave.degrees * np.cos(wave.count * (turn - at))
        return total

    def crest(self, hours: Floats) -> Floats:
        """The bony rim at hours, (n, 3) mm; across the notch, where it would run."""
        return self.center + self.radius_mm * self.directions(self.rim_angle_deg(hours), hours)

    @cached_property
    def whole_crest(self) -> tuple[Floats, Floats]:
        """Hours (n,) around the clock and the rim there (n, 3)."""
        hours = np.arange(0.0, 12.0, CREST_STEP_HOURS)
        return hours, self.crest(hours)

    @cached_property
    def notch_hours(self) -> tuple[float, float]:
        """Between these hours the notch interrupts the rim."""
        edge = np.radians(self.rim_angle_deg(np.array([NOTCH_HOUR]))[0])
        half = np.degrees(np.arcsin(_NOTCH_HALF_MM / (self.radius_mm * np.sin(edge))))
        half = float(half) / DEGREES_PER_HOUR
        return NOTCH_HOUR - half, NOTCH_HOUR + half

    @cached_property
    def fossa_direction(self) -> Floats:
        """Middle of the fossa from the socket's center, unit vector."""
        return self.directions(_FOSSA_ANGLE_DEG, NOTCH_HOUR)

    def is_articular(self, directions: Floats) -> NDArray[np.bool_]:
        """Whether the sphere carries cartilage in those directions from its center, (...)."""
        inside = np.degrees(np.arccos(np.clip(directions @ self.fossa_direction, -1, 1)))
        angle = np.degrees(np.arccos(np.clip(-(directions @ self.opening), -1, 1)))
        turn = np.arctan2(directions @ self.three, directions @ self.twelve)
        hours = (np.degrees(turn) / DEGREES_PER_HOUR) % 12.0
        beside = np.abs(directions @ self.three) * self.radius_mm
        notch = (
            (beside < _NOTCH_HALF_MM) & (directions @ self.twelve < 0) & (angle > _NOTCH_FROM_DEG)
        )
        return (inside > _FOSSA_DEG) & (angle < self.rim_angle_deg(hours)) & ~notch

    def landmarks(self) -> dict[str, Floats]:
        """Points a reader would place, canonical axes, the other side's by their mirror."""
        other = -2.0 * HALF_INTERHEAD_MM
        tips = {
            "anterior_superior_iliac_spine": np.array([29.5, FRONT_MM, 78.0]),
            "pubic_tubercle": np.array([-60.0, FRONT_MM, -24.0]),
        }
        across = {
            f"opposite_{name}": np.array([other - at[0], at[1], at[2]])
            for name, at in tips.items()
        }
        return {
            **tips,
            **across,
            "anterior_inferior_iliac_spine": self._anterior_inferior_spine(),
            "posterior_superior_iliac_spine": np.array([-44.0, -88.0, 62.0]),
            "ischial_spine": np.array([-48.0, -46.0, -12.0]),
            "ischial_tuberosity": self.ischium_ball[0] - np.array([0.0, 0.0, _ISCHIUM_MM]),
            "opposite_femoral_head_center": np.array([other, 0.0, 0.0]),
        }

    def _anterior_inferior_spine(self) -> Floats:
        return np.array([14.0, 40.0, 34.0 - self.spine_low_mm])

    @property
    def ischium_ball(self) -> tuple[Floats, float]:
        """Center and radius of the round end of the ischium."""
        return np.array([-22.0, -30.0, -76.0]), _ISCHIUM_MM

    def _rods(self) -> Floats:
        marks = self.landmarks()
        asis, tubercle = marks["anterior_superior_iliac_spine"], marks["pubic_tubercle"]
        aiis, psis = (
            marks["anterior_inferior_iliac_spine"],
            marks["posterior_superior_iliac_spine"],
        )
        spine, (ischium, thick) = marks["ischial_spine"], self.ischium_ball
        back, front = np.array([0.0, 6.0, 0.0]), np.array([0.0, -6.0, 0.0])
        top = np.array([34.0, -20.0, 122.0])
        body = np.array([-84.0, 30.0, -34.0])
        roof = np.array([-12.0, -4.0, 44.0])
        return np.array([
            rod(asis - back, top, 6.0),
            rod(top, psis + back, 6.0, 8.0),
            rod(asis - back, aiis + front, 6.0, 6.0),
            rod(roof, aiis + front, 8.0, 6.0),
            rod(roof, psis + back, 10.0, 8.0),
            rod(roof, np.array([-42.0, -32.0, 26.0]), 10.0, 8.0),
            rod(np.array([-42.0, -32.0, 26.0]), np.array([-36.0, -36.0, -14.0]), 9.0),
            rod(np.array([-36.0, -36.0, -14.0]), spine - np.array([-3.0, -3.0, 0.0]), 7.0, 4.24),
            rod(np.array([-36.0, -30.0, -14.0]), ischium, 11.0, thick),
            rod(np.array([-38.0, 14.0, -6.0]), tubercle - back, 10.0, 6.0),
            rod(tubercle - back, body, 6.0, 8.0),
            rod(body, np.array([-82.0, 18.0, -58.0]), 8.0, 7.0),
            rod(np.array([-82.0, 18.0, -58.0]), ischium, 7.0, 10.0),
            ball(np.array([-38.0, -8.0, 10.0]), 9.0),
        ])  # fmt: skip

    def _plates(self) -> Floats:
        marks = self.landmarks()
        asis = marks["anterior_superior_iliac_spine"] - (0.0, 6.0, 0.0)
        psis = marks["posterior_superior_iliac_spine"] + (0.0, 6.0, 0.0)
        top, roof = np.array([34.0, -20.0, 122.0]), np.array([-12.0, -4.0, 44.0])
        aiis = marks["anterior_inferior_iliac_spine"] - (0.0, 6.0, 0.0)
        return np.array(
            [
                plate(roof, asis, top, 3.5),
                plate(roof, top, psis, 3.5),
                plate(roof, asis, aiis, 3.5),
            ]
        )

    @cached_property
    def field(self) -> Callable[[Floats], Floats]:
        """Gives the field at points (n, 3): negative inside the bone, mm."""
        rods, plates = self._rods(), self._plates()
        axes = np.stack([self.opening, self.twelve, self.three, self.fossa_direction])
        waves = np.array([[w.count, w.hour, w.degrees] for w in self.waves]).reshape(-1, 3)
        numbers = (self.radius_mm, self.rim_deg, -HALF_INTERHEAD_MM + _SYMPHYSIS_MM)

        def at(points: Floats) -> Floats:
            still = np.ascontiguousarray(points, dtype=np.float64)
            return _hip_bone_at(still, self.center, axes, waves, numbers, rods, plates)

        return at

    def scope(self) -> tuple[Floats, Floats]:
        """Two corners of a box around the bone, mm."""
        return np.array([-90.0, -100.0, -96.0]), np.array([46.0, 52.0, 134.0])


@njit(cache=True, nogil=True)
def _hip_bone_at(
    points: Floats,
    center: Floats,
    axes: Floats,
    waves: Floats,
    numbers: tuple[float, float, float],
    rods: Floats,
    plates: Floats,
) -> Floats:
    radius, rim, symphysis = numbers
    around = parts_at(points, rods, plates, _BLEND_MM)
    out = np.empty(points.shape[0])
    for i in range(points.shape[0]):
        x, y, z = points[i, 0] - center[0], points[i, 1] - center[1], points[i, 2] - center[2]
        away = max(np.sqrt(x * x + y * y + z * z), 1e-9)
        along = (x * axes[0, 0] + y * axes[0, 1] + z * axes[0, 2]) / away
        up = (x * axes[1, 0] + y * axes[1, 1] + z * axes[1, 2]) / away
        front = (x * axes[2, 0] + y * axes[2, 1] + z * axes[2, 2]) / away
        fossa = (x * axes[3, 0] + y * axes[3, 1] + z * axes[3, 2]) / away
        angle = np.degrees(np.arccos(min(max(-along, -1.0), 1.0)))
        turn = np.arctan2(front, up)
        edge = rim
        for k in range(waves.shape[0]):
            edge += waves[k, 2] * np.cos(
                waves[k, 0] * (turn - np.radians(DEGREES_PER_HOUR * waves[k, 1]))
            )
        inside = np.degrees(np.arccos(min(max(fossa, -1.0), 1.0)))
        share = min(max((_FOSSA_DEG - inside) / _FOSSA_WALL_DEG, 0.0), 1.0)
        deep = _FOSSA_MM * share * share * (3.0 - 2.0 * share)
        over = away - radius
        to_edge = np.radians(angle - edge + _BEVEL_DEG_PER_MM * over) * away
        shell = max(over - _WALL_MM, to_edge)
        value = joined(around[i], shell, _BLEND_MM * min(max(over / _MOUTH_MM, 0.0), 1.0))
        value = max(value, min(to_edge, _MOUTH_MM - over))  # nothing stands before the mouth
        value = max(value, deep - over)  # the cavity
        beside = _NOTCH_HALF_MM - abs(front) * away
        notch = min(beside, np.radians(angle - _NOTCH_FROM_DEG) * away)
        if up < 0.0:
            value = max(value, min(notch, _MOUTH_MM - over))
        out[i] = max(value, symphysis - points[i, 0])
    return out
