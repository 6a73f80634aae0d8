"""Where the published constructions of version put the distal end of the neck line.

All of them look along the shaft, at sections square to it, and draw a line from the head's
center; they differ in the section, from the saddle between neck and trochanter (Lee) down
to the shaft above the lesser trochanter (Murphy).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.anatomy.femur_in_space import VERSION_POINTS
from hipwright.engines.anatomy.femur_neck import Isthmus
from hipwright.engines.anatomy.femur_sections import SectionStack, middle_of_outline
from hipwright.engines.anatomy.femur_shaft import FemurAxes, Shaft
from hipwright.engines.geometry.spheres import SphereFit

Floats = NDArray[np.float64]

LEVEL_STEP_MM = 1.0
TROCHANTER_BEYOND = 0.45
"""Head radii beyond the narrowest section of the neck from which on bone is the trochanter's."""
MURPHY_ABOVE_MM = 10.0
"""Height over the tip of the lesser trochanter at which the shaft begins to open into neck and
trochanter: half the height of an ordinary lesser trochanter (judgment)."""
WINDOW = (-0.45, 0.45)
"""Head radii about the narrowest neck, along it, between which its two cortices are looked at."""
STATION_STEP_MM = 1.0
STRETCH_MM = 8.0
"""Length over which the two cortices are to be parallel."""
LEE_DEPTH_MM = 3.0
"""Thickness of the uppermost slice in which neck and trochanter are one."""
NARROW_MM = 0.5
PARALLEL = 0.08
"""How much wider than the narrowest place, and how far from parallel (a slope), a place may be to
have a good say in the middle: noise then moves it little."""
FEWEST_STATIONS = 5
OFF = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Slice:
    """Neck in a section square to the shaft: its two borders seen along the neck's direction.

    ``front`` and ``back`` are distances from the line through the head's center, at
    ``stations`` along it, all (n,) mm.
    """

    level: float
    stations: Floats
    front: Floats
    back: Floats

    def narrow(self) -> Floats:
        """How far the neck is wider at each station than at its narrowest, mm, (n,)."""
        width = self.front - self.back
        return width - width.min()

    def parallel(self) -> Floats:
        """How far from parallel the borders are about each station, as a slope, (n,)."""
        half = int(STRETCH_MM / STATION_STEP_MM / 2)
        width = self.front - self.back
        slopes = np.full(len(width), np.inf)
        if len(width) > 2 * half:
            inner = slice(half, len(width) - half)
            slopes[inner] = np.abs(width[2 * half :] - width[: -2 * half]) / STRETCH_MM
        return slopes


def version_points(
    bone: BoneMesh,
    head: SphereFit,
    neck: Isthmus,
    shaft: Shaft | None,
    axes: FemurAxes,
    lesser: Floats | None,
) -> Floats:
    """Distal ends of the neck line, (k, 3) in the order of ``VERSION_POINTS``; NaN where absent.

    Lee: middle of the neck in the uppermost section in which it is one with the greater
    trochanter. Reikerås: middle of the neck in the section, and the stretch of it, whose
    front and back cortices are most parallel. Tomczak: middle of the section halfway between
    the neck's narrowest place and Murphy's level, at the base of the trochanter. Murphy:
    the shaft's axis just above the lesser trochanter, which itself would draw the middle of
    the section backward.
    """
    found = dict.fromkeys(VERSION_POINTS, np.full(3, np.nan))
    isthmus_level = float((neck.middle - head.center) @ axes.up)
    stack = SectionStack.of(bone, head.center, axes.up)
    slices = _slices(stack, head, neck, axes, isthmus_level)
    if slices:
        top = slices[0].level
        uppermost = [s for s in slices if s.level > top - LEE_DEPTH_MM]
        found["lee"] = _middle(uppermost, [s.narrow() / NARROW_MM for s in uppermost], head, axes)
        lower = [s for s in slices if s.level <= top - LEE_DEPTH_MM]
        slopes = [s.parallel() / PARALLEL for s in lower]
        found["reikeras"] = _middle(lower, slopes, head, axes)
    if lesser is not None and shaft is not None:
        murphy_level = float((lesser - head.center) @ axes.up) + MURPHY_ABOVE_MM
        found["murphy"] = _on_axis(head, shaft, axes, murphy_level)
        middle = (murphy_level + isthmus_level) / 2.0
        found["tomczak"] = _middle_of_level(stack, head, shaft, axes, middle)
    return np.array([found[name] for name in VERSION_POINTS])


def _slices(
    stack: SectionStack, head: SphereFit, neck: Isthmus, axes: FemurAxes, isthmus_level: float
) -> list[_Slice]:
    """Sections in which neck and trochanter are one, from the uppermost down."""
    top = isthmus_level + 1.2 * head.radius
    bottom = isthmus_level - 0.4 * head.radius
    narrow = float((neck.middle - head.center) @ axes.lateral)
    beyond = narrow + TROCHANTER_BEYOND * head.radius
    found: list[_Slice] = []
    for level in np.arange(top, bottom, -LEVEL_STEP_MM):
        for outline in stack.at(float(level)):
            lateral = (outline - head.center) @ axes.lateral
            if lateral.min() < 0.2 * head.radius and lateral.max() > beyond:
                cut = _borders(outline, head, axes, float(level), narrow)
                if cut is not None:
                    found.append(cut)
                break
    return found


def _borders(
    outline: Floats, head: SphereFit, axes: FemurAxes, level: float, narrow_mm: float
) -> _Slice | None:
    """Front and back of the neck in one section, by rays across its direction."""
    along = (outline - head.center) @ axes.lateral
    across = (outline - head.center) @ axes.anterior
    next_along, next_across = np.roll(along, -1), np.roll(across, -1)
    low, high = (narrow_mm + share * head.radius for share in WINDOW)
    stations = np.arange(low, high, STATION_STEP_MM)
    front, back = np.full(len(stations), np.nan), np.full(len(stations), np.nan)
    for k, station in enumerate(stations):
        crosses = (along <= station) != (next_along <= station)
        if crosses.any():
            share = (station - along[crosses]) / (next_along[crosses] - along[crosses])
            at = across[crosses] + share * (next_across[crosses] - across[crosses])
            front[k], back[k] = at.max(), at.min()
    there = np.isfinite(front)
    if there.sum() < FEWEST_STATIONS:
        return None
    return _Slice(level=level, stations=stations[there], front=front[there], back=back[there])


def _middle(slices: list[_Slice], off: list[Floats], head: SphereFit, axes: FemurAxes) -> Floats:
    """Middle of the neck at the stations that are least off, each by its say."""
    say = [np.exp(-(np.minimum(o, OFF) ** 2)) * (o < OFF) for o in off]
    total = sum(float(s.sum()) for s in say)
    if not total:
        return np.full(3, np.nan)
    place = np.zeros(3)
    for cut, weights in zip(slices, say, strict=True):
        across = (cut.front + cut.back) / 2.0
        place += (weights @ cut.stations) * axes.lateral + (weights @ across) * axes.anterior
        place += weights.sum() * cut.level * axes.up
    return head.center + place / total


def _on_axis(head: SphereFit, shaft: Shaft, axes: FemurAxes, level: float) -> Floats:
    """The place of the shaft's axis at a level of the long axis."""
    missing = level - float((shaft.point - head.center) @ axes.up)
    return shaft.point + missing / float(shaft.axis @ axes.up) * shaft.axis


def _middle_of_level(
    stack: SectionStack, head: SphereFit, shaft: Shaft, axes: FemurAxes, level: float
) -> Floats:
    """Middle of the section around the shaft's axis at a level."""
    outline = stack.around(level, _on_axis(head, shaft, axes, level))
    return np.full(3, np.nan) if outline is None else middle_of_outline(outline, axes.up)
