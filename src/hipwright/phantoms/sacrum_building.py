"""Build sacrum and coccyx between two hip bones."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.hip_bone_building import BuiltHipBone, without_voids
from hipwright.phantoms.implicit import (
    Ball,
    Field,
    Grid,
    capsule_field,
    common,
    depths,
    even_grid,
    field_of,
    joined,
    sample,
    smoothed,
    surface_of,
)
from hipwright.phantoms.surfaces import TriangleSurface

Floats = NDArray[np.float64]

_STEP_MM = 1.25
_BAND_MM = 3.6
_JOINT_GAP_MM = 1.6
_CORTEX_MM = 1.1
_SPARING_MM = 0.04
_INNER_SPARING_MM = 0.08

_DISC_MM = 2.6  # between the last piece of the sacrum and the first of the coccyx
_PIECES_MM = (
    (11.0, 6.5, 4.2),
    (9.0, 4.6, 3.6),
    (7.0, 3.2, 3.0),
    (5.0, 2.4, 2.6),
)  # length, half width, radius
_FIRST_LEAN_DEG = 28.0
_WAIST_MM = 1.0
_HALF_ROW_MM = 2.0
_NOWHERE = Ball(center=np.zeros(3), radius=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltSacrum:
    """Sacrum and coccyx, one body each, with their midline points in mm."""

    sacrum: TriangleSurface
    sacrum_inner: TriangleSurface
    coccyx: TriangleSurface
    points: dict[str, Floats]


def _symmetric(vertices: Floats, faces: NDArray[np.int32]) -> tuple[Field, Grid]:
    """Return the mean of a bone's field and its mirror image's, on a symmetric grid."""
    half = np.abs(vertices[:, 0]).max()
    reach = np.concatenate([vertices, vertices * [-1.0, 1.0, 1.0], [[half, *vertices[0, 1:]]]])
    grid = even_grid(reach, step=_STEP_MM)
    planes = int(np.ceil((half + 4.0) / _STEP_MM))
    grid = Grid(x=np.arange(-planes, planes + 1, dtype=np.float64) * _STEP_MM, y=grid.y, z=grid.z)
    field = field_of(TriangleSurface(vertices=vertices, faces=faces), grid, band=_BAND_MM)
    return smoothed((field + field[::-1]) * np.float32(0.5), 0.7), grid


def _coccyx(apex: Floats, curve_deg: float) -> tuple[TriangleSurface, Floats, Floats]:
    """Return the coccyx, its tip and the middle of its joint with the sacrum."""
    lean = np.radians(_FIRST_LEAN_DEG)
    direction = np.array([0.0, -np.sin(lean), -np.cos(lean)])
    joint = apex + direction * (_DISC_MM / 2)
    at = apex + direction * _DISC_MM
    pieces: list[tuple[Floats, Floats, float, float]] = []
    for length, half_width, radius in _PIECES_MM:
        end = at + direction * length
        pieces.append(
            (at + direction * radius, end - direction * radius * 0.4, half_width, radius)
        )
        at = end
        lean += np.radians(curve_deg)
        direction = np.array([0.0, -np.sin(lean), -np.cos(lean)])
    corners = np.array([piece[k] for piece in pieces for k in (0, 1)])
    spread = np.array([[8.0, 5.0, 5.0]])
    grid = even_grid(np.concatenate([corners - spread, corners + spread]), step=0.8)
    half = np.arange(0.0, grid.x.max() + 0.8, 0.8)
    grid = Grid(x=np.concatenate([-half[:0:-1], half]), y=grid.y, z=grid.z)
    fields: list[Field] = []
    for start, end, half_width, radius in pieces:
        side = np.array([max(half_width - radius, 0.01), 0.0, 0.0])
        rods = [
            capsule_field(grid, start - side, end - 0.6 * side, radius),
            capsule_field(grid, start + side, end + 0.6 * side, radius),
            capsule_field(grid, start - side, start + side, radius),
        ]
        fields.append(joined(rods, 2.0))
    body = without_voids(joined(fields, _WAIST_MM))
    surface = surface_of(body, grid, tolerance=_SPARING_MM)
    return surface, surface.vertices[surface.vertices[:, 2].argmin()] * [0.0, 1.0, 1.0], joint


def build_sacrum(
    vertices: Floats,
    faces: NDArray[np.int32],
    hip_bones: tuple[BuiltHipBone, BuiltHipBone],
    *,
    coccyx_curve_deg: float,
) -> BuiltSacrum:
    """Build sacrum and coccyx from the leveled, scaled sacrum of a shape model.

    Parameters
    ----------
    vertices, faces
        The model's sacrum, mm.
    hip_bones
        Left and right hip bone, both built as left ones: the sacroiliac joints are kept open.
    coccyx_curve_deg
        How far each piece of the coccyx turns forward from the one above.
    """
    field, grid = _symmetric(vertices, faces)
    points = grid.points()
    for bone, side in zip(hip_bones, (1.0, -1.0), strict=True):
        away = sample(bone.field, bone.grid, points * [side, 1.0, 1.0]).astype(np.float32)
        field = common(field, _JOINT_GAP_MM - away, 1.0)
    field = without_voids(field)
    deep = depths(field, grid, deepest=4.0)
    middle = int(np.argmin(np.abs(grid.x)))
    inside = np.argwhere(field[middle] < 0.0)
    column = np.stack([grid.y[inside[:, 0]], grid.z[inside[:, 1]]], axis=1)
    lowest = column[column[:, 1] < column[:, 1].min() + 2 * _HALF_ROW_MM]
    apex = np.array([0.0, float(lowest[:, 0].mean()), float(column[:, 1].min())])
    coccyx, tip, joint = _coccyx(apex, coccyx_curve_deg)
    half_way = (column[:, 1].min() + column[:, 1].max()) / 2
    middle_row = column[np.abs(column[:, 1] - half_way) < _HALF_ROW_MM]
    return BuiltSacrum(
        sacrum=surface_of(field, grid, tolerance=_SPARING_MM, exact=_NOWHERE),
        sacrum_inner=surface_of(
            without_voids(deep + np.float32(_CORTEX_MM)), grid, tolerance=_INNER_SPARING_MM
        ),
        coccyx=coccyx,
        points={
            "coccyx_tip": tip,
            "sacrococcygeal_joint": joint,
            "mid_sacrum": np.array([0.0, float(middle_row[:, 0].mean()), float(half_way)]),
        },
    )
