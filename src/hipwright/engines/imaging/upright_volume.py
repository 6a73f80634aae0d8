"""Volumes set upright: slices upward, rows backward, columns to the left, at right angles.

A stack that only lies in another order is flipped and permuted. A sheared stack (tilted
gantry) has the rows of each slice shifted, so that nothing is mixed across slices. Only a
stack that is turned far from the patient's axes is sampled anew in all three directions.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.domain.volume import VolumeGrid

Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]
Codes = NDArray[np.uint8]

PAD_HU = -1024
"""What lies outside the field."""

TURN_DEG = 12.0
"""A stack turned further from the patient's axes is sampled anew (judgment)."""

SHEAR = 0.002
"""Sideways drift per step from which slices are shifted against each other (judgment)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UprightVolume:
    """Voxels (z, y, x), growing upward, backward and to the left.

    Parameters
    ----------
    values
        int16, contiguous.
    spacing_mm
        Along z, y and x.
    axes
        Shape (3, 3), rows: the upright x, y and z directions in ``patient_lps``.
    origin_mm
        Center of voxel (0, 0, 0) in ``patient_lps``.
    source
        The grid the voxels came from.
    resampled
        Whether values were interpolated.
    """

    values: Voxels = field(repr=False)
    spacing_mm: Floats
    axes: Floats
    origin_mm: Floats
    source: VolumeGrid
    resampled: bool

    @property
    def step_xyz_mm(self) -> Floats:
        """Spacing along x, y and z."""
        return self.spacing_mm[::-1].copy()

    def to_patient(self, points_mm: Floats) -> Floats:
        """Places of ``patient_lps`` of upright (x, y, z), mm from the first voxel."""
        return self.origin_mm + np.asarray(points_mm, dtype=np.float64) @ self.axes

    def from_patient(self, points_mm: Floats) -> Floats:
        """Upright (x, y, z), mm from the first voxel, of places of ``patient_lps``."""
        return (np.asarray(points_mm, dtype=np.float64) - self.origin_mm) @ self.axes.T

    def brought_home(self, codes: Codes) -> Codes:
        """Labels of the upright voxels on the grid they came from, nearest voxel."""
        place = _place(self.source)
        if not self.resampled:
            flips = tuple(slice(None, None, -1 if sign < 0 else 1) for sign in place.signs)
            return np.ascontiguousarray(codes[flips].transpose(np.argsort(place.order)))
        matrix, start = _index_map(self.source, self)
        home = np.zeros(self.source.shape, np.uint8)
        pick_codes(codes, matrix, start, home)
        return home

    def brought_here(self, codes: Codes) -> Codes:
        """Labels of the source grid on the upright voxels, nearest voxel; 0 outside."""
        place = _place(self.source)
        if not self.resampled:
            flips = tuple(slice(None, None, -1 if sign < 0 else 1) for sign in place.signs)
            return np.ascontiguousarray(codes.transpose(place.order)[flips])
        matrix, start = _index_map(self.source, self)
        back = np.linalg.inv(matrix).astype(np.float64)
        here = np.zeros(self.values.shape, np.uint8)
        pick_codes(codes, back, -start @ back, here)
        return here


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Placing:
    """Which array axis runs along z, y and x, and whether it runs with it."""

    order: tuple[int, int, int]
    signs: tuple[int, int, int]


def _place(grid: VolumeGrid) -> _Placing:
    unit = grid.steps_mm / grid.spacing_mm[:, None]

    def fit(order: tuple[int, int, int]) -> float:
        return round(sum(abs(float(unit[axis, 2 - k])) for k, axis in enumerate(order)), 9)

    order = max(((0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0)), key=fit)
    z, y, x = (1 if unit[axis, 2 - k] > 0 else -1 for k, axis in enumerate(order))
    return _Placing(order=order, signs=(z, y, x))


def _index_map(source: VolumeGrid, upright: UprightVolume) -> tuple[Floats, Floats]:
    """Matrix and start that turn source indices into upright (z, y, x) indices."""
    first = upright.from_patient(source.to_mm(np.zeros(3)))[::-1] / upright.spacing_mm
    steps = (source.steps_mm @ upright.axes.T)[:, ::-1] / upright.spacing_mm
    return np.ascontiguousarray(steps), np.ascontiguousarray(first)


def upright(values: Voxels, grid: VolumeGrid) -> UprightVolume:
    """Set a volume upright.

    Parameters
    ----------
    values
        int16, of the grid's shape.
    grid
        Where they lie.
    """
    place = _place(grid)
    steps = grid.steps_mm[list(place.order)] * np.array(place.signs)[:, None]
    spacing = np.linalg.norm(steps, axis=1)
    unit = steps / spacing[:, None]
    drift = max(abs(float(unit[a] @ unit[b])) for a, b in ((0, 1), (0, 2), (1, 2)))
    turned = float(np.abs(unit - np.eye(3)[::-1]).max()) > np.sin(np.radians(TURN_DEG))
    if drift <= SHEAR and not turned:
        flips = tuple(slice(None, None, sign) for sign in place.signs)
        ends = np.array(
            [
                0 if s > 0 else n - 1
                for s, n in zip(place.signs, np.array(grid.shape)[list(place.order)], strict=True)
            ]
        )
        first = np.zeros(3)
        first[list(place.order)] = ends
        return UprightVolume(
            values=np.ascontiguousarray(values.transpose(place.order)[flips]),
            spacing_mm=spacing,
            axes=_at_right_angles(unit)[::-1].copy(),
            origin_mm=grid.to_mm(first),
            source=grid,
            resampled=False,
        )
    axes = np.eye(3) if _normal_is_far(unit) else _at_right_angles(unit[::-1], keep_plane=True)
    return _sampled_anew(values, grid, axes, spacing)


def _normal_is_far(unit: Floats) -> bool:
    normal = np.cross(unit[2], unit[1])
    normal = normal / np.linalg.norm(normal)
    far = np.cos(np.radians(TURN_DEG))
    return abs(float(unit[2] @ [1.0, 0.0, 0.0])) < far or abs(float(normal[2])) < np.cos(
        np.radians(2.5 * TURN_DEG)
    )


def _at_right_angles(rows: Floats, *, keep_plane: bool = False) -> Floats:
    """The nearest rotation to three nearly perpendicular rows; or one that keeps the first two."""
    if keep_plane:
        x = rows[0]
        y = rows[1] - float(rows[1] @ x) * x
        y = np.asarray(y / np.linalg.norm(y), dtype=np.float64)
        return np.stack([x, y, np.asarray(np.cross(x, y), dtype=np.float64)])
    u, _, v = np.linalg.svd(rows)
    return u @ v


def _sampled_anew(
    values: Voxels, grid: VolumeGrid, axes: Floats, spacing: Floats
) -> UprightVolume:
    corners = np.argwhere(np.ones((2, 2, 2), bool)) * (np.array(grid.shape) - 1.0)
    places = grid.to_mm(corners) @ axes.T
    low, high = places.min(axis=0), places.max(axis=0)
    along = np.abs(grid.steps_mm @ axes.T).max(axis=0)[::-1]
    fine = np.minimum(spacing, along)
    shape = tuple(int(np.floor(s + 1e-6)) + 1 for s in (high - low)[::-1] / fine)
    empty = np.full(shape, PAD_HU, np.int16)
    target = UprightVolume(
        values=empty,
        spacing_mm=fine,
        axes=axes,
        origin_mm=low @ axes,
        source=grid,
        resampled=True,
    )
    matrix, start = _index_map(grid, target)
    back = np.linalg.inv(matrix).astype(np.float64)
    sample_values(np.ascontiguousarray(values), back, -start @ back, empty)
    return target


@njit(cache=True, nogil=True)
def sample_values(values: Voxels, matrix: Floats, start: Floats, out: Voxels) -> None:
    """Fill ``out`` by linear interpolation; what lies outside ``values`` stays as it was.

    Index (a, b, c) of ``out`` lies at index ``start + (a, b, c) @ matrix`` of ``values``.
    """
    n0, n1, n2 = values.shape
    edge = 1e-4
    for a in range(out.shape[0]):
        for b in range(out.shape[1]):
            for c in range(out.shape[2]):
                p = start[0] + a * matrix[0, 0] + b * matrix[1, 0] + c * matrix[2, 0]
                q = start[1] + a * matrix[0, 1] + b * matrix[1, 1] + c * matrix[2, 1]
                r = start[2] + a * matrix[0, 2] + b * matrix[1, 2] + c * matrix[2, 2]
                inside = -edge <= p <= n0 - 1 + edge and -edge <= q <= n1 - 1 + edge
                if not inside or r < -edge or r > n2 - 1 + edge:
                    continue
                i = min(max(int(p), 0), max(n0 - 2, 0))
                j = min(max(int(q), 0), max(n1 - 2, 0))
                k = min(max(int(r), 0), max(n2 - 2, 0))
                fi, fj, fk = p - i, q - j, r - k
                i1, j1, k1 = min(i + 1, n0 - 1), min(j + 1, n1 - 1), min(k + 1, n2 - 1)
                low = (1 - fj) * ((1 - fk) * values[i, j, k] + fk * values[i, j, k1])
                low += fj * ((1 - fk) * values[i, j1, k] + fk * values[i, j1, k1])
                high = (1 - fj) * ((1 - fk) * values[i1, j, k] + fk * values[i1, j, k1])
                high += fj * ((1 - fk) * values[i1, j1, k] + fk * values[i1, j1, k1])
                out[a, b, c] = np.int16(np.rint((1 - fi) * low + fi * high))


@njit(cache=True, nogil=True)
def pick_codes(codes: Codes, matrix: Floats, start: Floats, out: Codes) -> None:
    """Fill ``out`` with the nearest code; what lies outside ``codes`` stays as it was."""
    n0, n1, n2 = codes.shape
    for a in range(out.shape[0]):
        for b in range(out.shape[1]):
            for c in range(out.shape[2]):
                p = start[0] + a * matrix[0, 0] + b * matrix[1, 0] + c * matrix[2, 0]
                q = start[1] + a * matrix[0, 1] + b * matrix[1, 1] + c * matrix[2, 1]
                r = start[2] + a * matrix[0, 2] + b * matrix[1, 2] + c * matrix[2, 2]
                i, j, k = int(np.rint(p)), int(np.rint(q)), int(np.rint(r))
                if 0 <= i < n0 and 0 <= j < n1 and 0 <= k < n2:
                    out[a, b, c] = codes[i, j, k]
