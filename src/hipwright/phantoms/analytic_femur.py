"""Landmarks and truth of an analytic femur."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from hipwright.phantoms.analytic_hip import AnalyticFemur, AnalyticHip, DrawnHip, from_up, turned

Floats = NDArray[np.float64]

OUTLINE_FROM_DEG = 115.0
OUTLINE_STEP_DEG = 0.25
BASE_BEYOND_NECK_MM = 14.0
BASE_WIDER_MM = 1.0
HEAD_POINTS = 24
HALF_TURN = 180.0
ON_THE_HEAD_DEG = 60.0
"""At half a radius along the axis the round head stands at acos(1/2) from it."""


def neck_direction(femur: AnalyticFemur) -> Floats:
    """From the head center toward the middle of the neck, (2,), on an AP film."""
    down = from_up(-1.0, femur.shaft_adduction_deg)
    return turned(down, HALF_TURN - femur.neck_shaft_deg)


def draw_femur(hip: AnalyticHip, *, axis: Floats | None = None) -> DrawnHip:
    """The proximal femur as any view shows it, and its truth.

    Parameters
    ----------
    hip
        The hip.
    axis
        Direction from the head center to the middle of the neck; by default the AP film's.
    """
    femur = hip.femur
    toward_neck = neck_direction(femur) if axis is None else axis
    up = turned(toward_neck, HALF_TURN / 2)
    shift_deg = _shift_deg(femur)
    along, beside = turned(toward_neck, shift_deg), turned(up, shift_deg)
    neck = femur.neck_distance_mm * along - femur.axis_shift_mm * beside
    base = neck + BASE_BEYOND_NECK_MM * along
    half = femur.neck_half_width_mm
    onset_deg = marked_alpha_deg(femur)
    around = np.linspace(0, 2 * np.pi, HEAD_POINTS, endpoint=False)
    circle = femur.head_radius_mm * np.column_stack([np.cos(around), np.sin(around)])
    outline = [r * turned(toward_neck, a) for a, r in _outline(femur)]
    return DrawnHip(
        points={
            "femoral_neck_superior": neck + half * beside,
            "femoral_neck_inferior": neck - half * beside,
            "femoral_neck_base_superior": base + (half + BASE_WIDER_MM) * beside,
            "femoral_neck_base_inferior": base - (half + BASE_WIDER_MM) * beside,
            "alpha_onset": femur.head_radius_mm * turned(toward_neck, onset_deg),
        },
        contours={
            "femoral_head": circle,
            "head_neck_contour": np.array([*outline, neck + half * beside]),
        },
        truth=_truth(femur),
    )


def draw_shaft(hip: AnalyticHip) -> DrawnHip:
    """Shaft, growth-plate scar and Shenton line of an AP film, and their truth."""
    femur = hip.femur
    top = 70.0 * neck_direction(femur)
    down = from_up(-1.0, femur.shaft_adduction_deg)
    scar_deg = hip.socket.roof_deg - femur.fear_deg
    scar = 8.0 * np.array([np.cos(np.radians(scar_deg)), np.sin(np.radians(scar_deg))])
    middle, foramen, radius = np.array([2.0, 3.0]), np.array([-18.0, -62.0]), 26.0
    line = {a: foramen + from_up(radius, a) for a in (55, 45, 35, 25, 10, -8, -26, -44)}
    higher = np.array([0.0, femur.shenton_step_mm])
    return DrawnHip(
        points={
            "femoral_shaft_proximal": top,
            "femoral_shaft_distal": top + 100.0 * down,
            "physeal_scar_medial": middle - scar,
            "physeal_scar_lateral": middle + scar,
        },
        contours={
            "shenton_obturator_arc": np.array([line[a] for a in (10, -8, -26, -44)]),
            "shenton_neck_arc": np.array([line[a] + higher for a in (55, 45, 35, 25)]),
        },
        truth={
            "neck_shaft_angle": femur.neck_shaft_deg,
            "femoral_shaft_adduction": femur.shaft_adduction_deg,
            "fear_index": femur.fear_deg,
            "shenton_step": femur.shenton_step_mm,
        },
    )


def _shift_deg(femur: AnalyticFemur) -> float:
    """How far the neck's own axis is turned from the line to its middle."""
    return float(np.degrees(np.arctan2(femur.axis_shift_mm, femur.neck_distance_mm)))


def _ideal_deg(femur: AnalyticFemur, departure_mm: float) -> float:
    """Where a straight neck is that far outside the head, by the neck's own axis."""
    height = femur.neck_half_width_mm - femur.axis_shift_mm
    return float(np.degrees(np.arcsin(height / (femur.head_radius_mm + departure_mm))))


def marked_alpha_deg(femur: AnalyticFemur) -> float:
    """The alpha angle of a perfect mark, by the axis through the head center."""
    if femur.cam_onset_deg is not None:
        return femur.cam_onset_deg
    return _ideal_deg(femur, 0.0) + _shift_deg(femur)


def departure_alpha_deg(femur: AnalyticFemur, departure_mm: float) -> float:
    """The alpha angle where the outline is that far outside, by the axis through the center."""
    if femur.cam_onset_deg is not None:
        return femur.cam_onset_deg - departure_mm / femur.cam_slope_mm_per_deg
    return _ideal_deg(femur, departure_mm) + _shift_deg(femur)


def _outline(femur: AnalyticFemur) -> list[tuple[float, float]]:
    """The outline before the straight neck: (angle from the axis, distance from the center)."""
    onset, radius = marked_alpha_deg(femur), femur.head_radius_mm
    round_part = [*np.arange(OUTLINE_FROM_DEG, onset, -OUTLINE_STEP_DEG), onset]
    places = [(float(angle), radius) for angle in round_part]
    if femur.cam_onset_deg is None:
        return places
    slope = femur.cam_slope_mm_per_deg
    rise = np.arange(0.0, femur.cam_height_mm + 1e-9, OUTLINE_STEP_DEG * slope)[1:]
    return places + [(onset - float(mm) / slope, radius + float(mm)) for mm in rise]


def _triangular_mm(femur: AnalyticFemur) -> float:
    """How far the outline is outside the head half a radius along the axis."""
    onset, radius = marked_alpha_deg(femur), femur.head_radius_mm
    if onset <= ON_THE_HEAD_DEG or femur.cam_onset_deg is None:
        return 0.0
    slope = femur.cam_slope_mm_per_deg

    def beyond_half(angle_deg: float) -> float:
        distance = radius + slope * (onset - angle_deg)
        return float(distance * np.cos(np.radians(angle_deg)) - radius / 2)

    last = onset - femur.cam_height_mm / slope
    return slope * (onset - float(brentq(beyond_half, last, onset)))


def _truth(femur: AnalyticFemur) -> dict[str, float]:
    offset = femur.head_radius_mm - (femur.neck_half_width_mm - femur.axis_shift_mm)
    through, shift = "alpha_angle.three_point", _shift_deg(femur)
    own = "alpha_angle.anatomic"
    half, two = departure_alpha_deg(femur, 0.5), departure_alpha_deg(femur, 2.0)
    return {
        through: marked_alpha_deg(femur),
        own: marked_alpha_deg(femur) - shift,
        f"{through}.departure_half_mm": half,
        f"{through}.departure_two_mm": two,
        f"{own}.departure_half_mm": half - shift,
        f"{own}.departure_two_mm": two - shift,
        "head_neck_offset": offset,
        "head_neck_offset_ratio": offset / (2 * femur.head_radius_mm),
        "triangular_index": _triangular_mm(femur),
    }
