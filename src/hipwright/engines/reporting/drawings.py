"""How constructions of points, lines and angles are drawn: one small recipe a catalog id."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.film_marks import Stroke
from hipwright.engines.reporting.tracing import LATERAL, UP, Sheet, unit

Floats = NDArray[np.float64]
Recipe = Callable[[Sheet, str], None]
"""Draws on the sheet; the text is the label, name and value."""

BEYOND = 0.18
"""How far a line runs on past its landmark, as a share of its length."""


def past(start: Floats, end: Floats, share: float = BEYOND) -> Floats:
    """The end of a line that runs on past its landmark."""
    return end + share * (end - start)


def _center_edge(edge: str, sheet: Sheet, text: str) -> None:
    center, tip = sheet.place("femoral_head_center"), sheet.place(edge)
    reach = float(np.hypot(*(tip - center)))
    sheet.line(center - 1.1 * reach * LATERAL, center + 1.1 * reach * LATERAL,
               stroke=Stroke.BASELINE)  # fmt: skip
    sheet.line(center, center + 1.3 * reach * UP)
    sheet.line(center, past(center, tip))
    sheet.label(sheet.angle(center, UP, tip - center, 0.5 * reach), text)


def _rise(start: str, end: str, sheet: Sheet, text: str) -> None:
    first, last = sheet.place(start), sheet.place(end)
    run = last - first
    reach = float(np.hypot(*run))
    sheet.line(first, first + 1.2 * reach * LATERAL, stroke=Stroke.BASELINE)
    sheet.line(first, past(first, last))
    sheet.label(sheet.angle(first, LATERAL, run, 0.75 * reach), text)


def _alpha(onset: str, sheet: Sheet, text: str) -> None:
    center, tip = sheet.place("femoral_head_center"), sheet.place(onset)
    upper, lower = sheet.place("femoral_neck_superior"), sheet.place("femoral_neck_inferior")
    neck = (upper + lower) / 2
    reach = float(np.hypot(*(tip - center)))
    head_circle(sheet)
    sheet.line(upper, lower, stroke=Stroke.FAINT)
    sheet.line(center, past(center, neck, 0.5))
    sheet.line(center, past(center, tip, 0.35))
    sheet.label(sheet.angle(center, neck - center, tip - center, 0.6 * reach), text)


def head_circle(sheet: Sheet) -> None:
    """The circle of the head, if there is one."""
    try:
        sheet.circle(sheet.place("femoral_head"), sheet.radius("femoral_head"))
    except KeyError:
        return  # the center was placed by itself


def _neck_shaft(sheet: Sheet, text: str) -> None:
    center = sheet.place("femoral_head_center")
    upper, lower = sheet.place("femoral_neck_superior"), sheet.place("femoral_neck_inferior")
    proximal = sheet.place("femoral_shaft_proximal")
    distal = sheet.place("femoral_shaft_distal")
    neck = (upper + lower) / 2
    up_neck, down_shaft = center - neck, distal - proximal
    corner = _crossing(center, up_neck, proximal, down_shaft)
    sheet.line(upper, lower, stroke=Stroke.FAINT)
    if corner is None:
        sheet.line(neck, center)
        sheet.line(proximal, distal)
        sheet.label((center + proximal) / 2, text)
        return
    sheet.line(corner, past(neck, center, 0.3))
    sheet.line(corner, past(proximal, distal, 0.05))
    reach = 0.45 * float(np.hypot(*(center - corner)))
    sheet.label(sheet.angle(corner, up_neck, down_shaft, reach), text)


def _crossing(start: Floats, along: Floats, other: Floats, across: Floats) -> Floats | None:
    """Where two lines meet, ``None`` where they are nearly parallel."""
    matrix = np.stack([unit(along), -unit(across)], axis=-1)
    if abs(float(np.linalg.det(matrix))) < 0.05:  # noqa: PLR2004 (under 3 degrees, off the film)
        return None
    step = np.linalg.solve(matrix, other - start)
    return start + step[0] * unit(along)


def _alpha_anatomic(onset: str, sheet: Sheet, text: str) -> None:
    center, tip = sheet.place("femoral_head_center"), sheet.place(onset)
    neck, base = neck_middle(sheet), base_middle(sheet)
    reach = float(np.hypot(*(tip - center)))
    axis = base - neck
    head_circle(sheet)
    sheet.line(neck - 0.4 * axis, base, stroke=Stroke.FAINT)
    sheet.line(center, center + 1.8 * reach * unit(axis))
    sheet.line(center, past(center, tip, 0.35))
    sheet.label(sheet.angle(center, axis, tip - center, 0.6 * reach), text)


def neck_middle(sheet: Sheet) -> Floats:
    """Half-way across the narrowest neck."""
    return (sheet.place("femoral_neck_superior") + sheet.place("femoral_neck_inferior")) / 2


def base_middle(sheet: Sheet) -> Floats:
    """Half-way across the base of the neck."""
    upper = sheet.place("femoral_neck_base_superior")
    return (upper + sheet.place("femoral_neck_base_inferior")) / 2


def _offset(sheet: Sheet, text: str) -> None:
    center, radius = sheet.place("femoral_head"), sheet.radius("femoral_head")
    neck, base = neck_middle(sheet), base_middle(sheet)
    along = unit(base - neck)
    upper = sheet.place("femoral_neck_superior")
    across = upper - neck - float((upper - neck) @ along) * along
    up = unit(across)
    sheet.circle(center, radius)
    sheet.line(neck, base, stroke=Stroke.BASELINE)
    top = center + radius * up
    for start in (top, upper):
        foot = start - float((start - center) @ along) * along
        sheet.line(foot - 0.4 * radius * along, foot + 2.2 * radius * along, stroke=Stroke.FAINT)
    low = top + float((upper - top) @ up) * up
    sheet.line(top, low)
    sheet.label(top + 0.25 * radius * up, text)


def _scar_and_roof(sheet: Sheet, text: str) -> None:
    medial, lateral = sheet.place("sourcil_medial_edge"), sheet.place("sourcil_lateral_edge")
    first, last = sheet.place("physeal_scar_medial"), sheet.place("physeal_scar_lateral")
    sheet.line(past(lateral, medial, 0.6), past(medial, lateral, 0.6))
    sheet.line(past(last, first, 0.6), past(first, last, 0.6))
    sheet.label((past(medial, lateral, 0.6) + past(first, last, 0.6)) / 2, text)


def _extrusion(sheet: Sheet, text: str) -> None:
    center, radius = sheet.place("femoral_head"), sheet.radius("femoral_head")
    rim = sheet.place("acetabular_rim_lateral")
    sheet.circle(center, radius)
    foot = center - 1.25 * radius * UP
    for u in (center[0] - radius, rim[0], center[0] + radius):
        top = max(float(center[1]) + 1.1 * radius, float(rim[1]))
        sheet.line(np.array([u, top]), np.array([u, foot[1]]), stroke=Stroke.FAINT)
    sheet.line(np.array([center[0] - radius, foot[1]]), np.array([center[0] + radius, foot[1]]),
               stroke=Stroke.BASELINE)  # fmt: skip
    sheet.line(np.array([rim[0], foot[1]]), np.array([center[0] + radius, foot[1]]))
    sheet.label(np.array([center[0] + radius, foot[1]]), text)


def _adduction(sheet: Sheet, text: str) -> None:
    start, end = sheet.place("femoral_shaft_proximal"), sheet.place("femoral_shaft_distal")
    reach = float(np.hypot(*(end - start)))
    sheet.line(start, start - reach * UP, stroke=Stroke.BASELINE)
    sheet.line(start, past(start, end, 0.05))
    sheet.label(sheet.angle(start, -UP, end - start, 0.8 * reach), text)


def _height_over(landmark: str, sheet: Sheet, text: str) -> None:
    at, zero = sheet.place(landmark), sheet.place("symphysis_superior")
    foot = np.array([at[0], zero[1]])
    sheet.line(past(foot, zero), past(zero, foot), stroke=Stroke.BASELINE)
    sheet.line(foot, at)
    sheet.label((foot + at) / 2, text)


def _aside_of(landmark: str, sheet: Sheet, text: str) -> None:
    at, zero = sheet.place(landmark), sheet.place("symphysis_superior")
    above = np.array([zero[0], at[1]])
    sheet.line(zero, above, stroke=Stroke.BASELINE)
    sheet.line(above, at)
    sheet.label(at, text)


def _obturator_widths(sheet: Sheet, text: str) -> None:
    for side in ("right", "left"):
        medial = sheet.place(f"obturator_foramen_medial@{side}")
        lateral = sheet.place(f"obturator_foramen_lateral@{side}")
        sheet.line(medial, np.array([lateral[0], medial[1]]))
        sheet.line(np.array([lateral[0], medial[1]]), lateral, stroke=Stroke.FAINT)
    inner = [sheet.place(f"obturator_foramen_medial@{side}") for side in ("right", "left")]
    sheet.label(np.mean(inner, axis=0), text)


STRAIGHT: Mapping[str, Recipe] = MappingProxyType(
    {
        "lateral_center_edge_angle.sourcil": partial(_center_edge, "sourcil_lateral_edge"),
        "lateral_center_edge_angle.rim": partial(_center_edge, "acetabular_rim_lateral"),
        "lateral_center_edge_angle.with_ossicle": partial(_center_edge, "ossicle_lateral_edge"),
        "anterior_center_edge_angle.sourcil": partial(_center_edge, "anterior_sourcil_edge"),
        "anterior_center_edge_angle.rim": partial(_center_edge, "anterior_rim_edge"),
        "roof_angle.tonnis": partial(_rise, "sourcil_medial_edge", "sourcil_lateral_edge"),
        "sharp_angle": partial(_rise, "teardrop_inferior", "acetabular_rim_lateral"),
        "alpha_angle.three_point": partial(_alpha, "alpha_onset"),
        "alpha_angle.anatomic": partial(_alpha_anatomic, "alpha_onset"),
        "head_neck_offset": _offset,
        "head_neck_offset_ratio": _offset,
        "fear_index": _scar_and_roof,
        "neck_shaft_angle": _neck_shaft,
        "extrusion_index": _extrusion,
        "femoral_shaft_adduction": _adduction,
        "pelvic_tilt.coccyx_symphysis": partial(_height_over, "coccyx_tip"),
        "pelvic_tilt.sacrococcygeal_symphysis": partial(_height_over, "sacrococcygeal_joint"),
        "pelvic_rotation.coccyx_offset": partial(_aside_of, "coccyx_tip"),
        "pelvic_rotation.sacrum_offset": partial(_aside_of, "mid_sacrum"),
        "pelvic_rotation.obturator_index": _obturator_widths,
    }
)
"""Recipes by catalog id."""
