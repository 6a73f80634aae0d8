"""Sections through a bone at many levels of one direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.geometry.mesh_sections import plane_section_mm
from hipwright.engines.geometry.meshes import compacted
from hipwright.engines.geometry.spheres import square_to

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SectionStack:
    """A bone, ready to be cut square to a direction.

    Attributes
    ----------
    axis
        Unit direction the levels are counted along.
    origin
        Where the level is 0, (3,).
    """

    bone: BoneMesh
    origin: Floats
    axis: Floats
    lowest: Floats
    highest: Floats

    @classmethod
    def of(cls, bone: BoneMesh, origin: Floats, axis: Floats) -> SectionStack:
        """Sort the triangles by level."""
        one, two, three = ((bone.vertices - origin) @ axis)[bone.faces.T]
        return cls(
            bone=bone,
            origin=origin,
            axis=axis,
            lowest=np.minimum(np.minimum(one, two), three),
            highest=np.maximum(np.maximum(one, two), three),
        )

    def at(self, level_mm: float) -> tuple[Floats, ...]:
        """Outlines of the section at a level, (k, 3) each, the longest first."""
        cut = (self.lowest < level_mm) & (self.highest >= level_mm)
        if not cut.any():
            return ()
        vertices, faces = compacted(self.bone.vertices, self.bone.faces[cut])
        return plane_section_mm(vertices, faces, self.origin + level_mm * self.axis, self.axis)

    def around(self, level_mm: float, point: Floats) -> Floats | None:
        """The outline at a level that goes around a point of it, ``None`` where none does."""
        outlines = (o for o in self.at(level_mm) if holds(o, point, self.axis))
        return next(outlines, None)


def holds(outline: Floats, point: Floats, normal: Floats) -> bool:
    """Whether a closed outline in a plane goes around a point of it."""
    one, two = square_to(normal / np.linalg.norm(normal))
    out = outline - point
    turn: Floats = np.arctan2(out @ two, out @ one)
    step: Floats = np.roll(turn, -1) - turn
    step -= 2 * np.pi * np.round(step / (2 * np.pi))
    return abs(float(step.sum())) > np.pi


def middle_of_outline(outline: Floats, normal: Floats) -> Floats:
    """Middle of the area inside a closed outline in a plane; NaN where it holds none."""
    start = outline[0]
    one, two = outline - start, np.roll(outline, -1, axis=0) - start
    double: Floats = np.cross(one, two) @ normal
    total = float(double.sum())
    if not total:
        return np.full(3, np.nan)
    return start + (double[:, None] * (one + two)).sum(axis=0) / (3.0 * total)
