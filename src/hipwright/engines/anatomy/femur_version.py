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
BELOW_LEE_MM = 2.0
FEWEST_STATIONS = 5


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

    @property
    def narrowest(self) -> int:
        return int(np.argmin(self.front - self.back))

    def parallel(self) -> tuple[float, int] | None:
        """The stretch where the borders are most parallel: angle in radians, middle station."""
        half = int(STRETCH_MM / STATION_STEP_MM / 2)
        width = self.front - self.back
        best: tuple[float, int] | None = None
        for k in range(half, len(width) - half):
            run = slice(k - half, k + half + 1)
            slope = abs(float(np.polyfit(self.stations[run], width[run], 1)[0]))
            if best is None or slope < best[0]:
                best = (slope, k)
        return best


def version_points(
    bone: BoneMesh,
    head: SphereFit,
    neck: Isthmus,
    shaft: Shaft,
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
        lee = slices[0]
        found["lee"] = _middle_at(lee, lee.narrowest, head, axes)
        runs = [(s, s.parallel()) for s in slices if s.level <= lee.level - BELOW_LEE_MM]
        fitting = [(run[0], k, s) for k, (s, run) in enumerate(runs) if run is not None]
        if fitting:
            _, _, chosen = min(fitting, key=lambda row: row[:2])
            run = chosen.parallel()
            if run is not None:
                found["reikeras"] = _middle_at(chosen, run[1], head, axes)
    if lesser is not None:
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


def _middle_at(cut: _Slice, k: int, head: SphereFit, axes: FemurAxes) -> Floats:
    across = (cut.front[k] + cut.back[k]) / 2.0
    return (
        head.center + cut.stations[k] * axes.lateral + across * axes.anterior + cut.level * axes.up
    )


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
