"""An analytic hip: the numbers it is built from, each the truth of a measurement.

Everything is in the canonical plane of one hip, u lateral and v superior, the
center of the head at the origin, mm and degrees. Truth is what the hip was
built with, or plane trigonometry on it; the engines have no part in it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalyticSocket:
    """The pelvic side of an analytic hip."""

    lcea_sourcil_deg: float = 29.0
    lcea_rim_deg: float = 33.0
    rim_distance_mm: float = 29.5
    ossicle_deg: float = 44.0
    roof_deg: float = 5.0
    sharp_deg: float = 40.0
    opening_mm: float = 62.0
    retroversion_percent: float = 0.0
    posterior_wall_mm: float = -1.0
    anterior_wall_index: float = 0.41
    spine_mm: float = -4.0
    lateralization_mm: float = 7.0
    profunda_mm: float = -2.0
    space_lateral_mm: float = 4.4
    space_apical_mm: float = 4.2
    space_medial_mm: float = 3.9
    acea_sourcil_deg: float = 30.0
    acea_rim_deg: float = 38.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalyticFemur:
    """The femoral side of an analytic hip.

    ``axis_shift_mm`` is how far the neck's own axis passes the head center on the side
    away from the tested outline. Without ``cam_onset_deg`` the outline is a circle that
    runs into a straight neck; with it, the outline leaves the circle at that angle from
    the line to the middle of the neck and rises by ``cam_slope_mm_per_deg`` until it is
    ``cam_height_mm`` outside.
    """

    head_radius_mm: float = 24.0
    neck_half_width_mm: float = 16.0
    neck_distance_mm: float = 30.0
    axis_shift_mm: float = 0.0
    cam_onset_deg: float | None = None
    cam_slope_mm_per_deg: float = 0.25
    cam_height_mm: float = 6.0
    neck_shaft_deg: float = 128.0
    shaft_adduction_deg: float = 2.0
    fear_deg: float = -12.0
    shenton_step_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalyticHip:
    """A socket and a femur that meet at the origin."""

    socket: AnalyticSocket = field(default_factory=AnalyticSocket)
    femur: AnalyticFemur = field(default_factory=AnalyticFemur)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnHip:
    """What a perfect reader would place on a hip, and what it then must measure.

    ``points`` are (2,), ``contours`` (m, 2) in the canonical plane; ``truth`` is by
    catalog id, in degrees, mm, percent or as a ratio.
    """

    points: dict[str, Floats]
    contours: dict[str, Floats]
    truth: dict[str, float]

    def joined(self, other: DrawnHip) -> DrawnHip:
        """Both drawings in one."""
        return DrawnHip(
            points=self.points | other.points,
            contours=self.contours | other.contours,
            truth=self.truth | other.truth,
        )


def from_up(distance: float, degrees: float) -> Floats:
    """The place at a distance from the origin and an angle from straight up, lateral positive."""
    angle = np.radians(degrees)
    return distance * np.array([np.sin(angle), np.cos(angle)])


def turned(direction: Floats, degrees: float) -> Floats:
    """A direction turned against the clock, from lateral toward superior."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[cos, -sin], [sin, cos]]) @ direction


KINDS: dict[str, AnalyticHip] = {
    "normal": AnalyticHip(),
    "cam": AnalyticHip(femur=AnalyticFemur(cam_onset_deg=75.0, axis_shift_mm=-1.5)),
    "dysplastic": AnalyticHip(
        socket=AnalyticSocket(
            lcea_sourcil_deg=14.0,
            lcea_rim_deg=17.0,
            roof_deg=16.0,
            sharp_deg=47.0,
            lateralization_mm=13.0,
            acea_sourcil_deg=15.0,
            acea_rim_deg=21.0,
            space_lateral_mm=5.6,
            anterior_wall_index=0.30,
        ),
        femur=AnalyticFemur(
            neck_shaft_deg=138.0, fear_deg=7.0, shenton_step_mm=6.5, axis_shift_mm=1.0
        ),
    ),
    "overcovered": AnalyticHip(
        socket=AnalyticSocket(
            lcea_sourcil_deg=43.0,
            lcea_rim_deg=47.0,
            ossicle_deg=58.0,
            roof_deg=-4.0,
            sharp_deg=34.0,
            lateralization_mm=3.0,
            profunda_mm=2.5,
            acea_sourcil_deg=45.0,
            acea_rim_deg=55.0,
        ),
        femur=AnalyticFemur(axis_shift_mm=2.0),
    ),
    "retroverted": AnalyticHip(
        socket=AnalyticSocket(
            retroversion_percent=35.0,
            posterior_wall_mm=4.0,
            anterior_wall_index=0.60,
            spine_mm=5.0,
        ),
        femur=AnalyticFemur(cam_onset_deg=66.0),
    ),
    "protruded": AnalyticHip(
        socket=AnalyticSocket(
            lateralization_mm=-4.0,
            profunda_mm=6.0,
            lcea_sourcil_deg=48.0,
            lcea_rim_deg=52.0,
            ossicle_deg=60.0,
            roof_deg=-8.0,
        ),
        femur=AnalyticFemur(neck_shaft_deg=119.0),
    ),
    "arthritic": AnalyticHip(
        socket=AnalyticSocket(
            space_lateral_mm=1.4, space_apical_mm=2.3, space_medial_mm=3.4, rim_distance_mm=27.0
        ),
        femur=AnalyticFemur(cam_onset_deg=70.0, neck_half_width_mm=17.0),
    ),
}
"""One hip of each kind that the measurements have to tell apart."""
