"""Landmarks and truth of an analytic socket."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.analytic_femur import neck_direction
from hipwright.phantoms.analytic_hip import AnalyticHip, DrawnHip, from_up

Floats = NDArray[np.float64]

ROOF_STEP_DEG = 0.25
HEAD_BEYOND_ROOF_DEG = 3.0
PERCENT = 100.0


def draw_socket(hip: AnalyticHip) -> DrawnHip:
    """Everything of the socket that an AP film shows, and its truth."""
    return _roof(hip).joined(_edges(hip)).joined(_walls(hip)).joined(_medial_wall(hip))


def _roof(hip: AnalyticHip) -> DrawnHip:
    socket, radius = hip.socket, hip.femur.head_radius_mm
    lateral = from_up(radius + socket.space_lateral_mm, socket.lcea_sourcil_deg)
    medial = lateral - _sourcil_length(hip, lateral) * _rising(socket.roof_deg)
    medial_deg = float(np.degrees(np.arctan2(medial[0], medial[1])))
    sites = [medial_deg, 0.0, socket.lcea_sourcil_deg]
    widths = [socket.space_medial_mm, socket.space_apical_mm, socket.space_lateral_mm]
    steps = np.arange(medial_deg, socket.lcea_sourcil_deg, ROOF_STEP_DEG)
    angles = np.unique(np.concatenate([steps, sites]))[::-1]
    roof = [
        from_up(radius + w, a)
        for a, w in zip(angles, np.interp(angles, sites, widths), strict=True)
    ]
    ends = (angles[0] + HEAD_BEYOND_ROOF_DEG, angles[-1] - HEAD_BEYOND_ROOF_DEG)
    under = np.arange(*ends, -ROOF_STEP_DEG)
    return DrawnHip(
        points={"sourcil_lateral_edge": lateral, "sourcil_medial_edge": medial},
        contours={
            "acetabular_roof": np.array(roof),
            "femoral_head_roof": np.array([from_up(radius, a) for a in under]),
        },
        truth={
            "lateral_center_edge_angle.sourcil": socket.lcea_sourcil_deg,
            "roof_angle.tonnis": socket.roof_deg,
            "joint_space.lateral": socket.space_lateral_mm,
            "joint_space.apical": socket.space_apical_mm,
            "joint_space.medial": socket.space_medial_mm,
            "joint_space.minimum": min(widths),
        },
    )


def _sourcil_length(hip: AnalyticHip, lateral: Floats) -> float:
    """How far down the roof line its medial end has the medial joint space under it."""
    along = float(lateral @ _rising(hip.socket.roof_deg))
    reach = hip.femur.head_radius_mm + hip.socket.space_medial_mm
    return along + float(np.sqrt(along**2 - lateral @ lateral + reach**2))


def _rising(degrees: float) -> Floats:
    return np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])


def _edges(hip: AnalyticHip) -> DrawnHip:
    socket, radius = hip.socket, hip.femur.head_radius_mm
    rim = rim_of(hip)
    return DrawnHip(
        points={
            "acetabular_rim_lateral": rim,
            "ossicle_lateral_edge": from_up(socket.rim_distance_mm + 3, socket.ossicle_deg),
            "teardrop_inferior": rim - socket.opening_mm * _rising(socket.sharp_deg),
        },
        contours={},
        truth={
            "lateral_center_edge_angle.rim": socket.lcea_rim_deg,
            "lateral_center_edge_angle.with_ossicle": socket.ossicle_deg,
            "sharp_angle": socket.sharp_deg,
            "extrusion_index": PERCENT * (radius - float(rim[0])) / (2 * radius),
        },
    )


def rim_of(hip: AnalyticHip) -> Floats:
    """The most lateral point of the roof, (2,)."""
    return from_up(hip.socket.rim_distance_mm, hip.socket.lcea_rim_deg)


def _walls(hip: AnalyticHip) -> DrawnHip:
    """Two rims from the lateral edge down; they cross where the retroversion index says.

    The posterior rim bends once above the head center and then runs straight through
    the height of the center; the anterior rim bends above the neck axis and then runs straight.
    """
    socket, radius = hip.socket, hip.femur.head_radius_mm
    axis, rim = neck_direction(hip.femur), rim_of(hip)
    at_center = np.array([-socket.posterior_wall_mm, 0.0])
    lower_end = at_center + np.array([-5.0, -20.0])
    bend = at_center + 0.4 * (at_center - lower_end)
    on_axis = (socket.anterior_wall_index - 1) * radius * axis
    down = np.array([-3.0, -10.0])
    anterior = [rim, on_axis - 0.6 * down, on_axis + 2.0 * down]
    if socket.retroversion_percent:
        way = socket.retroversion_percent / PERCENT * np.linalg.norm(lower_end - rim)
        crossing = rim + way * (bend - rim) / np.linalg.norm(bend - rim)
        anterior.insert(1, 2 * crossing - anterior[1])
    return DrawnHip(
        points={},
        contours={
            "anterior_rim": np.array(anterior),
            "posterior_rim": np.array([rim, bend, lower_end]),
        },
        truth={
            "retroversion_index": socket.retroversion_percent,
            "posterior_wall_sign": socket.posterior_wall_mm,
            "anterior_wall_index": socket.anterior_wall_index,
            "posterior_wall_index": 1 + _along(axis, at_center, lower_end) / radius,
        },
    )


def _along(axis: Floats, first: Floats, second: Floats) -> float:
    """Where the line through the origin along ``axis`` meets the line through two points."""
    matrix = np.column_stack([axis, first - second])
    return float(np.linalg.solve(matrix, first)[0])


def _medial_wall(hip: AnalyticHip) -> DrawnHip:
    socket = hip.socket
    line = -hip.femur.head_radius_mm - socket.lateralization_mm
    deepest = line - socket.profunda_mm
    spine = np.array([line - 12.0, -30.0])
    slant = np.array([4.0, 15.0])
    brim = spine + np.array([socket.spine_mm, 0.0])
    return DrawnHip(
        points={"ischial_spine_tip": spine},
        contours={
            "ilioischial_line": np.array([[line + 4, 30.0], [line - 4, -30.0]]),
            "fossa_floor": np.array([[deepest + 5, 10.0], [deepest, 0.0], [deepest + 5, -10.0]]),
            "pelvic_brim": np.array([brim + slant, brim - slant]),
        },
        truth={
            "head_lateralization": socket.lateralization_mm,
            "protrusio": -socket.lateralization_mm,
            "coxa_profunda": socket.profunda_mm,
            "ischial_spine_sign": socket.spine_mm,
        },
    )
