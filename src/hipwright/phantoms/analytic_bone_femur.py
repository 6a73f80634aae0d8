"""A whole right femur made of a sphere, a round neck, rods and balls: every number known.

In its own frame the shaft stands along +z, the condyles face back along −y, +x is lateral
and the head's center is the origin, mm. Angles about the head are counted from the neck's
axis (0 points down the neck, as the alpha angle is counted), hours around it: 12 toward the
top of the shaft, 3 anterior.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.phantoms.body_parts import ball, joined, parts_at, plate, rod
from hipwright.phantoms.closed_forms import TwoSphereBump

Floats = NDArray[np.float64]

DEGREES_PER_HOUR = 30.0
KEPT_FREE_RADII = 1.45
"""Within so many head radii there is nothing but head, neck, bumps and scoops."""

_BLEND_MM = 7.0
_NECK_PAST_SHAFT_MM = 3.0
_SHAFT_MM = 13.0
_LENGTH_MM = 415.0
_CONDYLE_MM = 20.0
_CONDYLES_APART_MM = 48.0
_CONDYLE_BACK_MM = -14.0
_EPICONDYLE_MM = 6.0
_EPICONDYLES_APART_MM = 76.0
_FIRST_DEG, _LAST_DEG, _SCAN_DEG = 130.0, 15.0, 0.2
_NO_PLATES = np.array([*plate(np.zeros(3), np.eye(3)[0], np.eye(3)[1], -1e3)])[None]


@dataclass(frozen=True, slots=True, kw_only=True)
class BallBump:
    """A ball that stands out of the head: two spheres, so its volume is a closed form.

    ``angle_deg`` and ``hour`` say where its middle is, ``apart_mm`` how far the ball's
    center is from the head's.
    """

    angle_deg: float
    hour: float
    ball_radius_mm: float = 10.0
    apart_mm: float = 17.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BallScoop:
    """A ball of air that a burr left: its center lies outside the bone."""

    angle_deg: float
    hour: float
    ball_radius_mm: float
    apart_mm: float


@dataclass(frozen=True, kw_only=True)
class FemurForm:
    """One femur.

    Parameters
    ----------
    head_radius_mm, neck_radius_mm
        Sphere of the head; round neck.
    neck_shift_mm
        How far the neck's own axis passes the head's center, toward 6 o'clock.
    neck_shaft_deg, version_deg
        Between the axes of neck and shaft; of the neck about the shaft against the condyles.
    neck_length_mm
        From the head's center along the neck's axis to the shaft's.
    shaft_forward_mm
        How far the shaft's axis passes the neck's, toward the front of the neck's plane.
    """

    head_radius_mm: float = 24.0
    neck_radius_mm: float = 16.0
    neck_shift_mm: float = 0.0
    neck_shaft_deg: float = 128.0
    version_deg: float = 15.0
    neck_length_mm: float = 52.0
    shaft_forward_mm: float = 0.0
    bumps: tuple[BallBump, ...] = ()
    scoops: tuple[BallScoop, ...] = ()

    @cached_property
    def axis(self) -> Floats:
        """Down the neck, unit vector."""
        k, v = np.radians(self.neck_shaft_deg), np.radians(self.version_deg)
        return np.array([np.sin(k) * np.cos(v), -np.sin(k) * np.sin(v), np.cos(k)])

    @cached_property
    def twelve(self) -> Floats:
        """12 o'clock around the neck, unit vector."""
        up = np.array([0.0, 0.0, 1.0]) - self.axis[2] * self.axis
        return up / np.linalg.norm(up)

    @cached_property
    def three(self) -> Floats:
        """3 o'clock around the neck, unit vector."""
        return np.asarray(np.cross(self.twelve, self.axis))

    def directions(self, angle_deg: Floats | float, hour: Floats | float) -> Floats:
        """Unit vectors at angles from the neck's axis and hours around it, (..., 3)."""
        angle, turn = np.broadcast_arrays(
            np.radians(angle_deg), np.radians(DEGREES_PER_HOUR * np.asarray(hour))
        )
        ring = np.cos(turn)[..., None] * self.twelve + np.sin(turn)[..., None] * self.three
        return np.cos(angle)[..., None] * self.axis + np.sin(angle)[..., None] * ring

    @cached_property
    def joint_of_axes(self) -> Floats:
        """Where the neck's axis passes the shaft's, on the neck's side."""
        return self.neck_length_mm * self.axis - self.neck_shift_mm * self.twelve

    @cached_property
    def shaft_point(self) -> Floats:
        """A point of the shaft's axis, level with where the neck's axis passes it."""
        v = np.radians(self.version_deg)
        forward = np.array([np.sin(v), np.cos(v), 0.0])
        return self.joint_of_axes + self.shaft_forward_mm * forward

    def on_shaft(self, z: float) -> Floats:
        """The point of the shaft's axis at a height, mm."""
        return np.array([self.shaft_point[0], self.shaft_point[1], z])

    @cached_property
    def knee(self) -> Floats:
        """Middle between the centers of the condyles."""
        return self.on_shaft(self.shaft_point[2] - _LENGTH_MM + 60.0)

    def landmarks(self) -> dict[str, Floats]:
        """Points a reader would place, in the femur's own frame."""
        x, y = np.eye(3)[:2]
        half, wide = _CONDYLES_APART_MM / 2, _EPICONDYLES_APART_MM / 2 + _EPICONDYLE_MM
        back = (_CONDYLE_BACK_MM - _CONDYLE_MM) * y
        low = np.array([0.0, 0.0, -_CONDYLE_MM])
        greater, lesser = self._trochanters()
        up, radius = np.array([0.0, 0.0, 1.0]), greater[6]
        inward = lesser[3:6] - lesser[:3]
        shaft_low = self.shaft_point[2] - 220.0
        return {
            "femoral_head_center": np.zeros(3),
            "posterior_condyle_medial": self.knee - half * x + back,
            "posterior_condyle_lateral": self.knee + half * x + back,
            "distal_condyle_medial": self.knee - half * x + low,
            "distal_condyle_lateral": self.knee + half * x + low,
            "medial_epicondyle": self.knee - wide * x,
            "lateral_epicondyle": self.knee + wide * x,
            "greater_trochanter": greater[3:6] + radius * up,
            "lesser_trochanter": lesser[3:6] + lesser[7] * inward / np.linalg.norm(inward),
            "shaft_proximal": self.on_shaft(self.shaft_point[2] - 80.0),
            "shaft_distal": self.on_shaft(shaft_low),
            "neck_base": self.joint_of_axes,
        }

    def _trochanters(self) -> tuple[Floats, Floats]:
        top = self.shaft_point
        offsets = [[6.0, -2.0, 0.0], [11.0, -6.0, 26.0], [0.0, 0.0, -34.0], [-13.0, -13.0, -36.0]]
        a, b, c, d = top + np.array(offsets)
        return rod(a, b, 11.0, 9.0), rod(c, d, 9.0, 7.0)

    @property
    def lesser_trochanter_ball(self) -> tuple[Floats, float]:
        """Center and radius of the lesser trochanter's round tip."""
        row = self._trochanters()[1]
        return row[3:6], float(row[7])

    def _neck(self) -> Floats:
        start = -self.neck_shift_mm * self.twelve
        end = self.joint_of_axes + _NECK_PAST_SHAFT_MM * self.axis
        return rod(start, end, self.neck_radius_mm)

    def _base(self) -> Floats:
        x, y = np.eye(3)[:2]
        top, knee = self.shaft_point, self.knee
        half, wide = _CONDYLES_APART_MM / 2, _EPICONDYLES_APART_MM / 2
        rows = [
            *self._trochanters(),
            rod(top, self.on_shaft(top[2] - 55.0), 16.0, _SHAFT_MM),
            rod(self.on_shaft(top[2] - 55.0), self.on_shaft(knee[2] + 75.0), _SHAFT_MM),
            rod(self.on_shaft(knee[2] + 75.0), self.on_shaft(knee[2] + 12.0), _SHAFT_MM, 22.0),
        ]
        for side in (-half, half):
            front, back = knee + side * x + 10.0 * y, knee + side * x + _CONDYLE_BACK_MM * y
            rows.append(rod(front, back, _CONDYLE_MM))
        rows += [ball(knee + side * x, _EPICONDYLE_MM) for side in (-wide, wide)]
        return np.array(rows)

    def _balls(self, balls: tuple[BallBump, ...] | tuple[BallScoop, ...]) -> Floats:
        rows = [
            [*(b.apart_mm * self.directions(b.angle_deg, b.hour)), b.ball_radius_mm] for b in balls
        ]
        return np.array(rows).reshape(-1, 4)

    @cached_property
    def field(self) -> Callable[[Floats], Floats]:
        """Gives the field at points (n, 3): negative inside the bone, mm."""
        neck, base = self._neck()[None], self._base()
        bumps, scoops = self._balls(self.bumps), self._balls(self.scoops)
        radius = self.head_radius_mm

        def at(points: Floats) -> Floats:
            return _femur_at(
                np.ascontiguousarray(points, dtype=np.float64), radius, neck, base, bumps, scoops
            )

        return at

    def scope(self) -> tuple[Floats, Floats]:
        """Two corners of a box around the bone, mm."""
        marks = np.array(list(self.landmarks().values()))
        reach = self.head_radius_mm + 6.0
        low = np.minimum(marks.min(axis=0), -reach) - 16.0
        high = np.maximum(marks.max(axis=0), reach) + 16.0
        return low, high

    # truth about the neck -----------------------------------------------------------------

    def neck_height_mm(self, hours: Floats) -> Floats:
        """How far the neck's surface is from the line through the head's center along it."""
        turn = np.radians(DEGREES_PER_HOUR * np.asarray(hours))
        down = -self.neck_shift_mm * np.cos(turn)  # the axis is shifted toward 6 o'clock
        across = self.neck_shift_mm * np.sin(turn)
        return down + np.sqrt(self.neck_radius_mm**2 - across**2)

    def alpha_of_neck_deg(self, hours: Floats, departure_mm: float = 0.0) -> Floats:
        """Alpha of sphere and straight neck alone, in closed form (T5)."""
        out = self.head_radius_mm + departure_mm
        return np.degrees(np.arcsin(self.neck_height_mm(hours) / out))

    def alpha_of_bump_deg(self, bump: BallBump, hours: Floats, departure_mm: float) -> Floats:
        """Where a ball's outline leaves the sphere by so much, in closed form; NaN where never."""
        form = TwoSphereBump(
            head_radius_mm=self.head_radius_mm,
            ball_radius_mm=bump.ball_radius_mm,
            apart_mm=bump.apart_mm,
        )
        reach = np.radians(form.half_angle_at_deg(departure_mm))
        middle = np.radians(bump.angle_deg)
        turn = np.radians(DEGREES_PER_HOUR * (np.asarray(hours) - bump.hour))
        along, beside = np.cos(middle), np.sin(middle) * np.cos(turn)
        size = np.hypot(along, beside)
        inside = np.cos(reach) / size
        with np.errstate(invalid="ignore"):
            return np.degrees(np.arctan2(beside, along) + np.arccos(inside))

    def alpha_deg(self, hours: Floats, departure_mm: float = 0.0) -> Floats:
        """The alpha angle at hours, by the field itself: no mesh, no closed form.

        The largest angle from the neck's axis at which bone stands over the sphere by
        ``departure_mm`` (0: by a hundredth of a micrometer), found to 0.0001°.
        """
        out = self.head_radius_mm + max(departure_mm, 1e-5)
        scan = np.arange(_FIRST_DEG, _LAST_DEG, -_SCAN_DEG)
        found = np.full(len(hours), np.nan)
        for k, hour in enumerate(hours):
            inside = self.field(out * self.directions(scan, hour)) <= 0.0
            if not inside.any():
                continue
            first = int(inside.argmax())
            high, low = scan[first] + _SCAN_DEG, scan[first]
            while high - low > 1e-4:  # noqa: PLR2004 (degrees, as promised above)
                middle = (high + low) / 2
                is_bone = self.field(out * self.directions(np.array([middle]), hour))[0] <= 0.0
                low, high = (middle, high) if is_bone else (low, middle)
            found[k] = low
        return found

    def radial_mm(self, hours: Floats, angles_deg: Floats) -> Floats:
        """Distance from the head's center to where a ray first leaves the bone, (h, a).

        NaN where it does not within twice the head's radius (along the neck).
        """
        steps = np.arange(0.5, 2.0, 0.01) * self.head_radius_mm
        ways = self.directions(np.asarray(angles_deg)[None], np.asarray(hours)[:, None])
        flat = ways.reshape(-1, 3)
        found = np.full(len(flat), np.nan)
        for k, way in enumerate(flat):
            outside = self.field(steps[:, None] * way) > 0.0
            if not outside.any():
                continue
            first = int(outside.argmax())
            low, high = steps[max(first - 1, 0)], steps[first]
            for _ in range(30):
                middle = (low + high) / 2
                is_out = self.field(middle * way[None])[0] > 0.0
                low, high = (low, middle) if is_out else (middle, high)
            found[k] = high
        return found.reshape(ways.shape[:-1])

    @property
    def murphy_version_deg(self) -> float:
        """Version with the neck line drawn to the shaft's center (Murphy): a closed form.

        Where the shaft's axis meets the neck's it is the version itself, and every other
        construction gives the same.
        """
        return float(np.degrees(np.arctan2(-self.shaft_point[1], self.shaft_point[0])))


@njit(cache=True, nogil=True)
def _femur_at(
    points: Floats, radius: float, neck: Floats, base: Floats, bumps: Floats, scoops: Floats
) -> Floats:
    necks = parts_at(points, neck, _NO_PLATES, 0.0)
    bases = parts_at(points, base, _NO_PLATES, _BLEND_MM)
    out = np.empty(points.shape[0])
    for i in range(points.shape[0]):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        away = np.sqrt(x * x + y * y + z * z)
        blend = min(max(away - KEPT_FREE_RADII * radius, 0.0), _BLEND_MM)
        value = min(away - radius, joined(necks[i], bases[i], blend))
        for k in range(bumps.shape[0]):
            dx, dy, dz = x - bumps[k, 0], y - bumps[k, 1], z - bumps[k, 2]
            value = min(value, np.sqrt(dx * dx + dy * dy + dz * dz) - bumps[k, 3])
        for k in range(scoops.shape[0]):
            dx, dy, dz = x - scoops[k, 0], y - scoops[k, 1], z - scoops[k, 2]
            value = max(value, scoops[k, 3] - np.sqrt(dx * dx + dy * dy + dz * dz))
        out[i] = value
    return out
