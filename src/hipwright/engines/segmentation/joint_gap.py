"""The joint space as a smooth surface of least cost between head and socket.

Rays from the center of the head cross the head's cortex, the dark joint space and the
socket. The surface runs where the valley is deepest, else in soft tissue close outside the
head's cortex, and stays smooth where a gap of a millimeter can hardly be seen.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.engines.imaging.ray_samples import rays_from
from hipwright.engines.segmentation.height_field import cheapest_heights

Costs = NDArray[np.float32]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

ROWS, COLUMNS = 120, 240
PACE_MM = 0.25
INNER_MM, OUTER_MM = 4.0, 9.0
"""How far inside and outside the head's sphere the surface may run."""

LOOK_MM = 4.0
"""How far to either side a wall of the valley is looked for."""

EXPECTED_GAP_MM = 1.2
VALLEY_SHARE = 0.45
SOFT_GAIN = 0.5
FAR_COST = 0.02
INWARD_FACTOR, OUTWARD_FACTOR = 1.5, 0.35

WINDOW_DEG = 50.0
"""Cone about the neck in which the surface never acts."""

WIDEST_WINDOW_DEG = 82.0
DILATED_DEG = 6.0
SOCKET_WITHIN_MM = 9.0
COVER_NODES = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PolarGap:
    """The joint surface of one head, upright mm: see ``GapSurface`` for the grid.

    Attributes
    ----------
    axes
        Rows: the upright x, y, z of the grid's axes; the pole points away from the neck.
    radius_mm, acts
        Shape (rows, columns).
    valley
        Depth of the valley where the surface runs, as a share of a clear one, 0 to 1.
    socket
        Where bone lies close beyond the surface.
    """

    center: Floats
    axes: Floats
    radius_mm: Floats = field(repr=False)
    acts: Flags = field(repr=False)
    valley: Floats = field(repr=False)
    socket: Flags = field(repr=False)

    @property
    def coverage(self) -> float:
        """Share of the sphere that faces a socket, by area."""
        weights = area_weights()
        return float((weights * self.socket).sum() / weights.sum())


def area_weights() -> Floats:
    """Area of each node of the grid on the unit sphere, unscaled, shape (rows, columns)."""
    polar = (np.arange(ROWS) + 0.5) * np.pi / ROWS
    return np.repeat(np.sin(polar)[:, None], COLUMNS, axis=1)


def polar_directions(axes: Floats) -> Floats:
    """Unit vectors of the grid's nodes, shape (rows, columns, 3)."""
    polar = (np.arange(ROWS) + 0.5)[:, None] * np.pi / ROWS
    turn = np.arange(COLUMNS)[None, :] * 2 * np.pi / COLUMNS
    sin = np.sin(polar)
    local = np.stack(
        [sin * np.cos(turn), sin * np.sin(turn), np.broadcast_to(np.cos(polar), (ROWS, COLUMNS))],
        axis=-1,
    )
    return local @ axes


def axes_with_pole(pole: Floats) -> Floats:
    """Three unit rows at right angles, the last along ``pole``."""
    pole = pole / np.linalg.norm(pole)
    helper = (
        np.array([0.0, 1.0, 0.0]) if abs(pole[1]) < np.sqrt(0.8) else np.array([0.0, 0.0, 1.0])
    )
    first = np.cross(helper, pole)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(pole, first), pole])


@njit(cache=True, nogil=True)
def gap_costs(
    rays: Costs,
    look: int,
    radius_offset: Floats,
    soft_hu: float,
    bone_hu: float,
    step_hu: float,
    costs: Costs,
    valleys: Costs,
) -> None:
    """Fill the cost and the valley's depth of each height along each ray.

    ``rays`` (nodes, samples) begin ``look`` samples before the first height and end as many
    after the last; ``radius_offset`` is the distance of each height from where it is expected.
    """
    nodes, heights = costs.shape
    wall = soft_hu + 0.3 * step_hu
    for n in range(nodes):
        passed = False
        highest = -1e9
        for s in range(look):
            highest = max(highest, rays[n, s])
        for h in range(heights):
            at = h + look
            value = rays[n, at]
            inside = value
            outside = value
            for k in range(1, look + 1):
                inside = max(inside, rays[n, at - k])
                outside = max(outside, rays[n, at + k])
            depth = (min(inside, outside) - value) / (0.45 * step_hu)
            depth = min(max(depth, 0.0), 1.0)
            valleys[n, h] = depth
            highest = max(highest, value)
            passed = passed or highest > wall
            softness = 0.0
            if passed:
                softness = min(max((bone_hu - value) / (bone_hu - soft_hu), 0.0), 1.0)
            off = radius_offset[h]
            factor = 1.5 if off < 0 else 0.35
            costs[n, h] = -depth - 0.5 * softness + 0.02 * factor * off * off


def find_gap(
    values: Voxels,
    step_mm: Floats,
    center: Floats,
    radius_mm: float,
    neck: Floats,
    *,
    soft_hu: float,
    bone_hu: float,
    cortex_hu: float,
    window_deg: float = WINDOW_DEG,
) -> PolarGap:
    """Find the joint surface of one head.

    Parameters
    ----------
    values, step_mm
        Upright voxels and spacing along x, y, z.
    center, radius_mm, neck
        The head and the direction of its neck, upright.
    soft_hu, bone_hu, cortex_hu
        Soft tissue, where bone begins, thick cortex.
    window_deg
        Half opening of the cone about the neck in which the surface does not act.
    """
    step_hu = cortex_hu - soft_hu
    axes = axes_with_pole(-neck)
    directions = polar_directions(axes).reshape(-1, 3)
    look = round(LOOK_MM / PACE_MM)
    heights = round((INNER_MM + OUTER_MM) / PACE_MM) + 1
    first = radius_mm - INNER_MM - LOOK_MM
    rays = rays_from(
        values,
        step_mm,
        center,
        directions,
        first_mm=first,
        pace_mm=PACE_MM,
        samples=heights + 2 * look,
    )
    offset = np.arange(heights, dtype=np.float64) * PACE_MM - INNER_MM - EXPECTED_GAP_MM
    costs = np.empty((len(rays), heights), np.float32)
    valleys = np.empty_like(costs)
    gap_costs(rays, look, offset, soft_hu, bone_hu, step_hu, costs, valleys)
    found = cheapest_heights(costs.reshape(ROWS, COLUMNS, heights), around=True)
    radius = radius_mm - INNER_MM + PACE_MM * found
    nearest = np.rint(found).astype(np.intp).ravel()
    nodes = np.arange(len(rays))
    valley = valleys[nodes, nearest].reshape(ROWS, COLUMNS).astype(np.float64)
    socket = _bone_beyond(rays, nearest + look, bone_hu).reshape(ROWS, COLUMNS)
    window = _neck_window(rays, step_hu, window_deg)
    covered = _grown(socket, COVER_NODES)
    return PolarGap(
        center=center,
        axes=axes,
        radius_mm=radius,
        acts=covered & ~window,
        valley=valley,
        socket=socket & ~window,
    )


def _bone_beyond(rays: Costs, at: NDArray[np.intp], bone_hu: float) -> Flags:
    """Whether a ray meets bone within a few millimeters beyond a sample."""
    reach = round(SOCKET_WITHIN_MM / PACE_MM)
    place = np.minimum(at[:, None] + np.arange(1, reach + 1), rays.shape[1] - 1)
    return np.asarray((np.take_along_axis(rays, place, axis=1) > bone_hu).sum(axis=1) >= 2)  # noqa: PLR2004 (two samples: not one voxel of noise)


def _grown(flags: Flags, nodes: int) -> Flags:
    """Flags grown over the grid, around its seam."""
    wide = np.pad(flags, ((0, 0), (nodes, nodes)), mode="wrap")
    grown = ndimage.binary_dilation(wide, np.ones((3, 3), bool), iterations=nodes)
    return np.asarray(grown[:, nodes:-nodes])


def _neck_window(rays: Costs, step_hu: float, window_deg: float) -> Flags:
    """The cone about the neck, with what joins it where no cortex ends the head."""
    polar = np.degrees((np.arange(ROWS) + 0.5) * np.pi / ROWS)
    from_neck = np.repeat((180.0 - polar)[:, None], COLUMNS, axis=1)
    half = round(1.0 / PACE_MM)
    start = round((LOOK_MM - 2.0) / PACE_MM)
    falls = rays[:, start : -2 * half] - rays[:, start + 2 * half :]
    no_cortex = (falls.max(axis=1) < 0.2 * step_hu).reshape(ROWS, COLUMNS)
    cone = from_neck < window_deg
    candidates = cone | (no_cortex & (from_neck < WIDEST_WINDOW_DEG))
    wide = np.concatenate([candidates, candidates], axis=1)
    labels = ndimage.label(wide)[0]
    joined = np.isin(labels, np.unique(labels[-1]))
    joined &= wide
    both = joined[:, :COLUMNS] | joined[:, COLUMNS:]
    nodes = round(DILATED_DEG * ROWS / 180.0)
    return cone | _grown(both & ~cone, nodes)
