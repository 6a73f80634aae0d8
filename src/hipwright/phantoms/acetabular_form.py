"""The hip socket as a formula: sphere, roof edge by the clock, rim bevel, fossa and notch.

Around the center of the socket every direction has one radius at which the socket's
wall stands. Directions are told by their angle from the deepest point (the pole) and
by the hour: 12 superior, 3 anterior, 6 at the notch, 9 posterior, on either side.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

Floats = NDArray[np.float64]

HOURS = 12

_BEVEL_ONSET_MM = 0.35
_OUTSIDE_SLOPE = 4.0
_CREST_MM = 0.5
_FOSSA_WALL_DEG = 7.0
_NOTCH_DEG = 24.0
_NOTCH_HOUR = 5.6
_NOTCH_EXIT_DEG = 95.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClockFrame:
    """An axis with hours around it: unit vectors, +x lateral, +y posterior, +z superior."""

    axis: Floats
    twelve: Floats
    three: Floats

    @classmethod
    def around(cls, axis: Floats) -> "ClockFrame":
        """Put 12 o'clock as superior as the axis allows and 3 o'clock anterior."""
        twelve = np.array([0.0, 0.0, 1.0]) - axis[2] * axis
        twelve /= np.linalg.norm(twelve)
        three = np.cross(axis, twelve)
        return cls(axis=axis, twelve=twelve, three=three * -np.sign(three[1]))

    def hours(self, directions: Floats) -> Floats:
        """Return the hour, 0 ≤ h < 12, of directions ``(..., 3)``."""
        turn = np.arctan2(directions @ self.three, directions @ self.twelve)
        return (turn / (2 * np.pi) * HOURS) % HOURS

    def direction(self, angle_rad: Floats, hours: Floats) -> Floats:
        """Return unit vectors at an angle from the axis and an hour, shape ``(..., 3)``."""
        angle, turn = np.broadcast_arrays(angle_rad, np.asarray(hours) * (2 * np.pi / HOURS))
        ring = np.cos(turn)[..., None] * self.twelve + np.sin(turn)[..., None] * self.three
        return np.cos(angle)[..., None] * self.axis + np.sin(angle)[..., None] * ring


def lengths(vectors: Floats) -> Floats:
    """Return the lengths of vectors ``(..., 3)``, never quite zero."""
    return np.sqrt(np.maximum(np.einsum("...i,...i->...", vectors, vectors), 1e-18))


def by_the_clock(hours: Floats, values: Floats) -> CubicSpline:
    """Return a smooth periodic curve through values at rising hours below 12."""
    return CubicSpline(
        np.append(hours, hours[0] + HOURS), np.append(values, values[0]), bc_type="periodic"
    )


def clock_window(hours: Floats, middle: float, half_extent: float) -> Floats:
    """Return 1 at the middle hour, falling smoothly to 0 at ``half_extent`` hours away."""
    away = np.abs((hours - middle + HOURS / 2) % HOURS - HOURS / 2)
    return np.cos(np.pi / 2 * np.clip(away / half_extent, 0.0, 1.0)) ** 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AcetabularForm:
    """One socket, in the leveled pelvis built as a left hip.

    Attributes
    ----------
    center, radius
        Sphere of the bony roof and walls, mm.
    clock
        Its axis looks out of the socket.
    edge_hours, edge_deg
        Where the sphere ends: angle from the pole at rising hours.
    fossa_direction, fossa_deg, fossa_depth
        Middle of the fossa (unit vector), its angular radius and its depth in mm.
    bevel_mm, bevel_slope
        Width of the rim beyond the end of the roof, and how steeply it turns away.
    """

    center: Floats
    radius: float
    clock: ClockFrame
    edge_hours: Floats
    edge_deg: Floats
    fossa_direction: Floats
    fossa_deg: float
    fossa_depth: float = 4.0
    bevel_mm: float = 1.9
    bevel_slope: float = 0.8

    def polar(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """Return distance (mm), angle from the pole (rad) and hour of points ``(..., 3)``."""
        away = points - self.center
        distance = lengths(away)
        angle = np.arccos(np.clip(-(away @ self.clock.axis) / distance, -1.0, 1.0))
        return distance, angle, self.clock.hours(away)

    def edge(self, hours: Floats) -> Floats:
        """Return the angle from the pole at which the roof or wall ends, rad."""
        return np.radians(by_the_clock(self.edge_hours, self.edge_deg)(hours))

    def edge_points(self, hours: Floats) -> Floats:
        """Return points of the end of the articular sphere, shape ``(n, 3)``, mm."""
        return self.center + self.radius * self.clock.direction(np.pi - self.edge(hours), hours)

    @property
    def notch_direction(self) -> Floats:
        """Middle of the notch where it leaves the socket, unit vector."""
        out = np.pi - np.radians(_NOTCH_EXIT_DEG)
        return self.clock.direction(np.asarray(out), np.asarray(_NOTCH_HOUR))

    def fossa_inside_deg(self, points: Floats) -> Floats:
        """Return how far inside fossa and notch each direction lies, degrees.

        The fossa is round, ``fossa_deg`` about its middle; from there the notch
        runs down and out, narrowing.
        """
        away = points - self.center
        distance = lengths(away)
        start = self.fossa_direction
        along = self.notch_direction - start
        toward_start, toward_end = (away @ start) / distance, (away @ along) / distance
        squared, slant = float(along @ along), float(start @ along)
        share = np.clip((toward_end - slant) / squared, 0.0, 1.0)
        middle = np.sqrt(1.0 + share * (2.0 * slant + share * squared))
        cosine = (toward_start + share * toward_end) / middle
        off = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
        return self.fossa_deg + (_NOTCH_DEG - self.fossa_deg) * share - off

    def cavity_field(self, distance: Floats, past_edge_deg: Floats, fossa: Floats) -> Floats:
        """Return roughly the distance from the socket's wall, mm, negative in the joint.

        The wall is the sphere up to its edge, then the bevel of the rim, then the
        outer side of the rim; in the fossa it lies deeper.

        Parameters
        ----------
        distance
            From the center, mm.
        past_edge_deg
            How far past the end of the articular sphere, degrees.
        fossa
            Share of the fossa, :func:`fossa_share`.
        """
        beyond = np.maximum(np.radians(past_edge_deg) * self.radius, 0.0)
        onset = np.sqrt(beyond**2 + _BEVEL_ONSET_MM**2)
        past = beyond - self.bevel_mm
        turn = np.sqrt(past**2 + _CREST_MM**2)
        wall = self.radius + self.bevel_slope * (onset - _BEVEL_ONSET_MM)
        wall += _OUTSIDE_SLOPE * (past + turn) / 2 + self.fossa_depth * fossa
        slope = self.bevel_slope * beyond / onset + _OUTSIDE_SLOPE * (1.0 + past / turn) / 2
        none_inside = (
            _OUTSIDE_SLOPE * (np.sqrt(self.bevel_mm**2 + _CREST_MM**2) - self.bevel_mm) / 2
        )
        return (distance - wall + none_inside) / np.sqrt(1.0 + slope**2)


def fossa_share(inside_deg: Floats) -> Floats:
    """Return 1 in fossa and notch, 0 on the articular surface, smooth between.

    Its foot is the border of the fossa (0 degrees inside): there the sphere ends.
    """
    t = np.clip(inside_deg / _FOSSA_WALL_DEG, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)
