"""Axial, coronal and sagittal views of a volume, however its grid lies.

The patient's right is at the left of axial and coronal pictures and the front at the left of
sagittal ones; the head is up. A grid with right angles is shown voxel by voxel along its own
axes, each taking the view it is nearest to. A sheared one (a tilted gantry) is cut along the
patient's axes instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from itertools import permutations
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.volume import LabelVolume, Volume, VolumeGrid
from hipwright.engines.imaging.reformat import Plane, cut_codes, cut_values

Floats = NDArray[np.float64]
_Kind = TypeVar("_Kind", np.int16, np.uint8)

RIGHT_ANGLE_SLACK = 0.01
"""Cosine between two axes up to which they count as square to each other."""

_SECOND_LETTER = math.sin(math.radians(20))
_LETTERS = (("L", "R"), ("P", "A"), ("H", "F"))


class SliceDirection(Enum):
    """Which way a view looks."""

    AXIAL = "axial"
    CORONAL = "coronal"
    SAGITTAL = "sagittal"


_LPS_OF = {
    SliceDirection.AXIAL: ((0, 1), (1, 1), (2, 1)),
    SliceDirection.CORONAL: ((0, 1), (2, -1), (1, 1)),
    SliceDirection.SAGITTAL: ((1, 1), (2, -1), (0, 1)),
}
"""Right, down and through of each view: an axis of ``patient_lps`` and its sign."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SliceView:
    """One view of a volume: a stack of pictures.

    Parameters
    ----------
    direction
        Which view.
    first
        Where the first picture lies.
    through_mm
        Step from one picture to the next, shape (3,).
    count
        Number of pictures.
    axes, forward
        The grid's axes along rows, columns and through the stack, and whether they run the
        same way; ``None`` where pictures must be cut at a slant.
    """

    direction: SliceDirection
    first: Plane
    through_mm: Floats
    count: int
    axes: tuple[int, int, int] | None
    forward: tuple[bool, bool, bool] = (True, True, True)

    def plane(self, index: int) -> Plane:
        """Where a picture lies."""
        first = self.first
        return Plane(
            origin_mm=first.origin_mm + index * self.through_mm,
            right_mm=first.right_mm,
            down_mm=first.down_mm,
            columns=first.columns,
            rows=first.rows,
        )

    def values(self, volume: Volume, index: int) -> NDArray[np.int16]:
        """One picture's gray values, shape (rows, columns), contiguous."""
        if self.axes is None:
            return cut_values(volume, self.plane(index))
        return np.ascontiguousarray(self._own(volume.values, index))

    def codes(self, labels: LabelVolume, index: int) -> NDArray[np.uint8]:
        """One picture's labels, shape (rows, columns), contiguous."""
        if self.axes is None:
            return cut_codes(labels, self.plane(index))
        return np.ascontiguousarray(self._own(labels.codes, index))

    def _own(self, array: NDArray[_Kind], index: int) -> NDArray[_Kind]:
        down, right, through = self.axes or (0, 1, 2)
        turned = array.transpose(through, down, right)
        ahead = index if self.forward[2] else self.count - 1 - index
        rows = slice(None) if self.forward[0] else slice(None, None, -1)
        columns = slice(None) if self.forward[1] else slice(None, None, -1)
        return turned[ahead, rows, columns]


def views_of(grid: VolumeGrid) -> tuple[SliceView, SliceView, SliceView]:
    """Axial, coronal and sagittal views of a grid."""
    axial, coronal, sagittal = (
        _own_view(grid, way) if is_square(grid) else _upright_view(grid, way)
        for way in SliceDirection
    )
    return axial, coronal, sagittal


def is_square(grid: VolumeGrid) -> bool:
    """Whether the grid's axes are square to each other."""
    units = grid.steps_mm / grid.spacing_mm[:, None]
    crossed = units @ units.T - np.eye(3)
    return bool(np.abs(crossed).max() <= RIGHT_ANGLE_SLACK)


def turned_by_deg(grid: VolumeGrid) -> float:
    """Give the largest angle between an axis of the grid and the patient's axis it stands for."""
    units = grid.steps_mm / grid.spacing_mm[:, None]
    nearest = [abs(units[own, lps]) for lps, own in enumerate(_own_axes(grid))]
    return math.degrees(math.acos(min(1.0, *nearest)))


def letters_of(direction_mm: Floats) -> str:
    """Name a direction in the patient: ``L``, or ``LA`` where it slants by more than 20°."""
    unit = np.asarray(direction_mm, dtype=np.float64)
    unit = unit / np.linalg.norm(unit)
    order = np.argsort(-np.abs(unit), kind="stable")
    first, second = (int(k) for k in order[:2])
    named = _LETTERS[first][0 if unit[first] >= 0 else 1]
    if abs(unit[second]) > _SECOND_LETTER:
        named += _LETTERS[second][0 if unit[second] >= 0 else 1]
    return named


def _own_axes(grid: VolumeGrid) -> tuple[int, int, int]:
    """Give, for x, y and z of the patient, the grid's axis that runs along it best."""
    units = np.abs(grid.steps_mm / grid.spacing_mm[:, None])
    first, *_ = sorted(
        permutations(range(3)), key=lambda p: -sum(units[own, lps] for lps, own in enumerate(p))
    )
    return first[0], first[1], first[2]


def _own_view(grid: VolumeGrid, direction: SliceDirection) -> SliceView:
    own = _own_axes(grid)
    (right, right_sign), (down, down_sign), (through, through_sign) = _LPS_OF[direction]
    axes = own[down], own[right], own[through]
    wanted = zip(axes, (down, right, through), (down_sign, right_sign, through_sign), strict=True)
    forward = [bool(grid.steps_mm[axis, lps] * sign >= 0) for axis, lps, sign in wanted]
    corner = np.array([0.0, 0.0, 0.0])
    for axis, ahead in zip(axes, forward, strict=True):
        corner[axis] = 0.0 if ahead else grid.shape[axis] - 1
    steps = [
        grid.steps_mm[axis] * (1 if ahead else -1)
        for axis, ahead in zip(axes, forward, strict=True)
    ]
    first = Plane(
        origin_mm=grid.to_mm(corner),
        right_mm=steps[1],
        down_mm=steps[0],
        columns=grid.shape[axes[1]],
        rows=grid.shape[axes[0]],
    )
    return SliceView(
        direction=direction,
        first=first,
        through_mm=steps[2],
        count=grid.shape[axes[2]],
        axes=axes,
        forward=(forward[0], forward[1], forward[2]),
    )


def _upright_view(grid: VolumeGrid, direction: SliceDirection) -> SliceView:
    """One view of the smallest upright box around the grid, as fine as the grid is."""
    most = np.array(grid.shape, dtype=np.float64) - 1
    corners = grid.to_mm(np.array(list(np.ndindex(2, 2, 2)), dtype=np.float64) * most)
    low, high = corners.min(axis=0), corners.max(axis=0)
    step = grid.spacing_mm[list(_own_axes(grid))]
    sizes = np.ceil((high - low) / step - 1e-6).astype(int) + 1
    (right, right_sign), (down, down_sign), (through, through_sign) = _LPS_OF[direction]
    origin = low.copy()
    steps: list[Floats] = []
    for axis, sign in ((right, right_sign), (down, down_sign), (through, through_sign)):
        if sign < 0:
            origin[axis] = low[axis] + (sizes[axis] - 1) * step[axis]
        steps.append(np.eye(3)[axis] * step[axis] * sign)
    first = Plane(
        origin_mm=origin,
        right_mm=steps[0],
        down_mm=steps[1],
        columns=int(sizes[right]),
        rows=int(sizes[down]),
    )
    return SliceView(
        direction=direction,
        first=first,
        through_mm=steps[2],
        count=int(sizes[through]),
        axes=None,
    )
