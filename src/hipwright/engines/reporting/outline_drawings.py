"""How constructions on drawn outlines are drawn, at the very places that are measured."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.film_marks import Stroke
from hipwright.engines.geometry.circles import fit_shifted_arcs
from hipwright.engines.geometry.polylines import across_at_height, along_line, polar
from hipwright.engines.measurement.alpha import departure
from hipwright.engines.measurement.construction import Circles
from hipwright.engines.measurement.joint_space import narrowest_direction, shared_directions
from hipwright.engines.measurement.shapes import perpendicular_toward
from hipwright.engines.measurement.version_signs import rim_crossing
from hipwright.engines.reporting.drawings import (
    Recipe,
    base_middle,
    head_circle,
    neck_middle,
    past,
)
from hipwright.engines.reporting.tracing import LATERAL, UP, Sheet, unit

Floats = NDArray[np.float64]

TICK = 0.12
"""Half the length of the strokes at both ends of a gap, as a share of what it is measured on."""

ARC_STEPS = 60


def _gap(sheet: Sheet, start: Floats, end: Floats, size: float, text: str) -> None:
    """A measured distance between two strokes across it, so that a short one is seen too."""
    run = unit(end - start)
    across = TICK * size * np.array([-run[1], run[0]])
    for at in (start, end):
        sheet.line(at - across, at + across)
    sheet.line(start, end)
    sheet.label(start + 2 * across if across[1] > 0 else start - 2 * across, text)


def _height(outline: Floats) -> float:
    return float(np.ptp(outline[:, 1]))


def _head_to_line(sheet: Sheet, text: str) -> None:
    center, radius = sheet.place("femoral_head"), sheet.radius("femoral_head")
    at_line = _beside(sheet.place("ilioischial_line"), center)
    sheet.circle(center, radius)
    _gap(sheet, at_line, center - radius * LATERAL, radius, text)


def _beside(outline: Floats, place: Floats) -> Floats:
    """Where an outline lies at the height of a place."""
    return np.array([float(across_at_height(outline, place[1])), place[1]])


def _floor_to_line(sheet: Sheet, text: str) -> None:
    floor, line = sheet.place("fossa_floor"), sheet.place("ilioischial_line")
    pairs = [(_beside(line, at), at) for at in floor] + [(at, _beside(floor, at)) for at in line]
    reach = [start[0] - end[0] for start, end in pairs]
    start, end = pairs[int(np.nanargmax(reach))]
    _gap(sheet, start, end, _height(floor), text)


def _center_to_rim(sheet: Sheet, text: str) -> None:
    center, rim = sheet.place("femoral_head_center"), sheet.place("posterior_rim")
    head_circle(sheet)
    _gap(sheet, center, _beside(rim, center), _height(rim), text)


def _brim_to_spine(sheet: Sheet, text: str) -> None:
    tip, brim = sheet.place("ischial_spine_tip"), sheet.place("pelvic_brim")
    _gap(sheet, _beside(brim, tip), tip, _height(brim), text)


def _wall(rim: str, sheet: Sheet, text: str) -> None:
    center, radius = sheet.place("femoral_head"), sheet.radius("femoral_head")
    axis = unit(neck_middle(sheet) - center)
    medial = center - radius * axis
    meets = center + float(along_line(sheet.place(rim), center, axis)) * axis
    sheet.circle(center, radius)
    sheet.line(medial, past(medial, neck_middle(sheet), 0.1), stroke=Stroke.FAINT)
    _gap(sheet, medial, meets, radius, text)


def _retroversion(sheet: Sheet, text: str) -> None:
    top = sheet.place("acetabular_rim_lateral")
    front, back = sheet.place("anterior_rim"), sheet.place("posterior_rim")
    end = back[int(back[:, 1].argmin())]
    mark = rim_crossing(front, back)
    sheet.line(top, end, stroke=Stroke.FAINT)
    if np.isnan(mark).any():
        sheet.label(top, text)
        return
    sheet.line(top, mark)
    sheet.circle(mark, TICK / 3 * float(np.hypot(*(end - top))), stroke=Stroke.MEASURE)
    sheet.label(mark, text)


def _space(site: str, sheet: Sheet, text: str) -> None:
    center = sheet.place("femoral_head_center")
    arm = UP if site == "apex" else sheet.place(site) - center
    _space_toward(sheet, float(np.arctan2(arm[0], arm[1])), text)


def _narrowest_space(sheet: Sheet, text: str) -> None:
    center = sheet.place("femoral_head_center")
    roof, head = sheet.place("acetabular_roof"), sheet.place("femoral_head_roof")
    _space_toward(sheet, float(narrowest_direction(center, roof, head)), text)


def _space_toward(sheet: Sheet, angle: float, text: str) -> None:
    center = sheet.place("femoral_head_center")
    above = polar(sheet.place("acetabular_roof"), center)
    below = polar(sheet.place("femoral_head_roof"), center)
    low, high = shared_directions(above, below)
    drawn = np.clip(np.array([angle]), low, high)
    ray = np.array([np.sin(angle), np.cos(angle)])
    inner, outer = (center + float(edge.at(drawn)[0]) * ray for edge in (below, above))
    sheet.line(center, inner, stroke=Stroke.FAINT)
    _gap(sheet, inner, outer, 0.5 * float(np.hypot(*(inner - center))), text)


def _shenton(sheet: Sheet, text: str) -> None:
    neck, pelvis = sheet.place("shenton_neck_arc"), sheet.place("shenton_obturator_arc")
    center, found = fit_shifted_arcs(pelvis, neck)
    step = float(found) * UP
    arms = [outline - below for outline, below in ((pelvis, center), (neck, center + step))]
    radius = float(np.mean([np.hypot(*arm) for arm in np.concatenate(arms)]))
    turns: list[Floats] = [np.arctan2(arm[:, 0], arm[:, 1]) for arm in arms]
    for turn, below in ((np.concatenate(turns), center), (turns[1], center + step)):
        along: Floats = np.linspace(float(turn.min()), float(turn.max()), ARC_STEPS)
        arc = below + radius * np.stack([np.sin(along), np.cos(along)], axis=-1)
        sheet.line(*arc, stroke=Stroke.FAINT)
    between = (turns[1].min() + turns[0].max()) / 2
    on_pelvis = center + radius * np.array([np.sin(between), np.cos(between)])
    _gap(sheet, on_pelvis, on_pelvis + step, radius, text)


def _departure(definition: str, sheet: Sheet, text: str) -> None:
    center, radius = sheet.place("femoral_head"), sheet.radius("femoral_head")
    entry = sheet.hip.read.catalog.measurement(definition)
    neck, is_anatomic = neck_middle(sheet), definition.startswith("alpha_angle.anatomic")
    axis = base_middle(sheet) - neck if is_anatomic else neck - center
    outline = sheet.place("head_neck_contour")
    head = Circles(center=center, radius=np.array(radius))
    onset = departure(head, axis, outline, **entry.parameters)
    sheet.circle(center, radius)
    if is_anatomic:
        sheet.line(neck - 0.4 * axis, neck + axis, stroke=Stroke.FAINT)
    sheet.line(center, center + 1.8 * radius * unit(axis))
    sheet.line(center, past(center, onset, 0.35))
    sheet.label(sheet.angle(center, axis, onset - center, 0.6 * radius), text)


def _triangle(sheet: Sheet, text: str) -> None:
    center, radius = sheet.place("femoral_head"), sheet.radius("femoral_head")
    neck, upper = neck_middle(sheet), sheet.place("femoral_neck_superior")
    axis = unit(neck - center)
    foot = center + radius / 2 * axis
    side = perpendicular_toward(axis, upper - neck)
    height = float(along_line(sheet.place("head_neck_contour"), foot, side, forward=True))
    corner = foot + height * side
    sheet.circle(center, radius)
    sheet.line(center, past(center, neck), stroke=Stroke.FAINT)
    sheet.line(foot, corner, stroke=Stroke.FAINT)
    on_circle = center + radius * unit(corner - center)
    sheet.line(center, on_circle, stroke=Stroke.FAINT)
    _gap(sheet, on_circle, corner, radius, text)


_DEPARTURES = (
    "alpha_angle.three_point.departure_half_mm",
    "alpha_angle.three_point.departure_two_mm",
    "alpha_angle.anatomic.departure_half_mm",
    "alpha_angle.anatomic.departure_two_mm",
)

OUTLINED: Mapping[str, Recipe] = MappingProxyType(
    {
        "head_lateralization": _head_to_line,
        "protrusio": _head_to_line,
        "coxa_profunda": _floor_to_line,
        "posterior_wall_sign": _center_to_rim,
        "ischial_spine_sign": _brim_to_spine,
        "anterior_wall_index": partial(_wall, "anterior_rim"),
        "posterior_wall_index": partial(_wall, "posterior_rim"),
        "retroversion_index": _retroversion,
        "joint_space.apical": partial(_space, "apex"),
        "joint_space.lateral": partial(_space, "sourcil_lateral_edge"),
        "joint_space.medial": partial(_space, "sourcil_medial_edge"),
        "joint_space.minimum": _narrowest_space,
        "shenton_step": _shenton,
        "triangular_index": _triangle,
        **{name: partial(_departure, name) for name in _DEPARTURES},
    }
)
"""Recipes by catalog id."""
