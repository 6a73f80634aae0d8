"""Planes through a volume at any slant, and the radial planes around the axis of a neck.

A plane is a picture in space: where its first pixel lies and the steps to the next column
and the next row, ``patient_lps``, mm. Voxels are met in index coordinates, so that turned
and sheared grids need no case of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.domain.volume import LabelVolume, Volume, VolumeGrid

Floats = NDArray[np.float64]

OUTSIDE = -32768
"""What a picture holds where the volume does not reach."""

_HALF_VOXEL = 0.5
_DEGREES_PER_HOUR = 30.0
_SHORTEST_AXIS_MM = 1.0
_ALMOST_UPRIGHT = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plane:
    """A picture's place in space.

    Parameters
    ----------
    origin_mm
        Center of the first pixel, shape (3,).
    right_mm, down_mm
        Steps to the next column and the next row, shape (3,).
    columns, rows
        Its size.
    """

    origin_mm: Floats
    right_mm: Floats
    down_mm: Floats
    columns: int
    rows: int

    def to_mm(self, columns: Floats, rows: Floats) -> Floats:
        """Give the places of pixels, whole or between; (..., 3)."""
        across = np.asarray(columns, dtype=np.float64)[..., None] * self.right_mm
        along = np.asarray(rows, dtype=np.float64)[..., None] * self.down_mm
        return self.origin_mm + across + along


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NeckClock:
    """The axis of a femoral neck with the directions of its clock.

    Parameters
    ----------
    head_mm
        Center of the head.
    axis
        Unit vector from the neck toward the head.
    superior, anterior
        Unit vectors across the axis, at 12 and at 3 o'clock.
    """

    head_mm: Floats
    axis: Floats
    superior: Floats
    anterior: Floats

    def toward(self, hour: float) -> Floats:
        """Unit vector across the axis toward an hour."""
        turn = np.radians(_DEGREES_PER_HOUR * hour)
        return np.cos(turn) * self.superior + np.sin(turn) * self.anterior


def neck_clock(
    head_mm: Floats, neck_mm: Floats, up: Floats | None = None, front: Floats | None = None
) -> NeckClock:
    """Build the clock around a neck from the head's center and a point on the neck's axis.

    12 o'clock is where ``up`` points, seen along the axis, 3 o'clock is in front for either
    hip.

    Parameters
    ----------
    head_mm, neck_mm
        Center of the head, and of the neck where it is narrowest, ``patient_lps``.
    up, front
        Directions taken as superior and anterior; left out, the patient's own.

    Raises
    ------
    DegenerateGeometryError
        The two points fall together, or the axis runs straight up.
    """
    head, neck = (np.asarray(p, dtype=np.float64) for p in (head_mm, neck_mm))
    rise = np.array([0.0, 0.0, 1.0]) if up is None else np.asarray(up, dtype=np.float64)
    ahead = np.array([0.0, -1.0, 0.0]) if front is None else np.asarray(front, dtype=np.float64)
    length = float(np.linalg.norm(head - neck))
    if length < _SHORTEST_AXIS_MM:
        raise DegenerateGeometryError(
            "cannot lay planes around the neck",
            found=f"a head center {length:.1f} mm from the middle of the neck",
            needed=f"at least {_SHORTEST_AXIS_MM:g} mm",
            next_step="Place the middle of the neck where the neck is narrowest.",
        )
    axis = (head - neck) / length
    across = rise - (rise @ axis) * axis
    if float(np.linalg.norm(across)) < _ALMOST_UPRIGHT:
        raise DegenerateGeometryError(
            "cannot lay planes around the neck",
            found="an axis that runs straight up",
            needed="an axis from the middle of the neck to the head center",
            next_step="Place both centers again.",
        )
    superior = across / np.linalg.norm(across)
    sideways = np.cross(axis, superior)
    anterior = sideways if sideways @ ahead >= 0 else -sideways
    return NeckClock(head_mm=head, axis=axis, superior=superior, anterior=anterior)


def radial_plane(clock: NeckClock, hour: float, *, half_mm: float, step_mm: float) -> Plane:
    """Lay the plane that holds the neck's axis and an hour, that hour up.

    The axis lies across the picture, the patient's right at its left as in a view from the
    front; the head's center is in the middle.

    Parameters
    ----------
    clock
        Axis and hours.
    hour
        In (0, 12]; the opposite hour points down.
    half_mm, step_mm
        Half the side of the square picture, and the distance of its pixels.
    """
    right = clock.axis if clock.axis[0] >= 0 else -clock.axis
    up = clock.toward(hour)
    half = round(half_mm / step_mm)
    side = 2 * half + 1
    right_mm, down_mm = right * step_mm, -up * step_mm
    return Plane(
        origin_mm=clock.head_mm - half * (right_mm + down_mm),
        right_mm=right_mm,
        down_mm=down_mm,
        columns=side,
        rows=side,
    )


def cut_values(volume: Volume, plane: Plane) -> NDArray[np.int16]:
    """Gray values on a plane, shape (rows, columns), linear between the voxels around.

    Pixels whose place lies beyond the centers of the outermost voxels by more than half a
    voxel are :data:`OUTSIDE`.
    """
    start, right, down = _in_indices(volume.grid, plane)
    return _linear(volume.values, start, right, down, plane.rows, plane.columns)


def cut_codes(labels: LabelVolume, plane: Plane) -> NDArray[np.uint8]:
    """Labels on a plane, shape (rows, columns), of the voxel each pixel lies in; 0 outside."""
    start, right, down = _in_indices(labels.grid, plane)
    return _nearest(labels.codes, start, right, down, plane.rows, plane.columns)


def _in_indices(grid: VolumeGrid, plane: Plane) -> tuple[Floats, Floats, Floats]:
    back = np.linalg.inv(grid.steps_mm)
    return grid.to_indices(plane.origin_mm), plane.right_mm @ back, plane.down_mm @ back


@njit(cache=True, nogil=True)
def _linear(
    values: NDArray[np.int16],
    start: Floats,
    right: Floats,
    down: Floats,
    rows: int,
    columns: int,
) -> NDArray[np.int16]:
    most = np.array(values.shape) - 1
    cut = np.full((rows, columns), np.int16(-32768))
    low = np.empty(3, np.int64)
    high = np.empty(3, np.int64)
    share = np.empty(3)
    for r in range(rows):
        for c in range(columns):
            inside = True
            for k in range(3):
                at = start[k] + r * down[k] + c * right[k]
                if at < -_HALF_VOXEL or at > most[k] + _HALF_VOXEL:
                    inside = False
                    break
                at = min(max(at, 0.0), float(most[k]))
                low[k] = int(at)
                high[k] = min(low[k] + 1, most[k])
                share[k] = at - low[k]
            if not inside:
                continue
            total = 0.0
            for a in range(2):
                i = high[0] if a else low[0]
                wa = share[0] if a else 1.0 - share[0]
                for b in range(2):
                    j = high[1] if b else low[1]
                    wb = share[1] if b else 1.0 - share[1]
                    near = values[i, j, low[2]] * (1.0 - share[2])
                    far = values[i, j, high[2]] * share[2]
                    total += wa * wb * (near + far)
            cut[r, c] = np.int16(np.rint(total))
    return cut


@njit(cache=True, nogil=True)
def _nearest(
    codes: NDArray[np.uint8],
    start: Floats,
    right: Floats,
    down: Floats,
    rows: int,
    columns: int,
) -> NDArray[np.uint8]:
    cut = np.zeros((rows, columns), np.uint8)
    for r in range(rows):
        for c in range(columns):
            i = int(np.floor(start[0] + r * down[0] + c * right[0] + 0.5))
            j = int(np.floor(start[1] + r * down[1] + c * right[1] + 0.5))
            k = int(np.floor(start[2] + r * down[2] + c * right[2] + 0.5))
            if 0 <= i < codes.shape[0] and 0 <= j < codes.shape[1] and 0 <= k < codes.shape[2]:
                cut[r, c] = codes[i, j, k]
    return cut
