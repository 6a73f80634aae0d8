"""A nearly flat joint (sacroiliac, symphysis) as a smooth height over its own plane.

The plane is that of the places where the rough labels meet. Over it the surface follows the
dark valley where one is seen and bridges smoothly where bone lies too close to see any.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.engines.imaging.ray_samples import rays_from
from hipwright.engines.segmentation.height_field import cheapest_heights
from hipwright.engines.segmentation.joint_gap import gap_costs

Floats = NDArray[np.float64]
Costs = NDArray[np.float32]
Flags = NDArray[np.bool_]
Voxels = NDArray[np.int16]

CELL_MM = 1.0
PACE_MM = 0.5
HEIGHT_MM = 9.0
LOOK_MM = 4.0
MARGIN_MM = 8.0
NEAR_MM = 3.0
"""How far from a place where rough labels meet the surface acts."""

LEAST_PLACES = 25
WALLS_MM = 2.0
WALLS_GAIN = 0.6
"""What the walls of both bones close by are worth, against 1 for a clear valley (judgment)."""
_STEP_COST = 0.35


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatJoint:
    """Heights over a plane, upright mm.

    Attributes
    ----------
    center, axes
        Origin, and rows u, v and the normal, which points from the second bone to the first.
    height_mm, acts
        Shape (rows along u, columns along v), nodes of one millimeter around the center.
    """

    center: Floats
    axes: Floats
    height_mm: Floats = field(repr=False)
    acts: Flags = field(repr=False)

    def above_mm(self, points: Floats) -> Floats:
        """Height of points over the surface, NaN where it does not act, (...,)."""
        local = (points - self.center) @ self.axes.T
        rows, columns = self.height_mm.shape
        u = local[..., 0] / CELL_MM + (rows - 1) / 2
        v = local[..., 1] / CELL_MM + (columns - 1) / 2
        inside = (u >= 0) & (v >= 0) & (u <= rows - 1) & (v <= columns - 1)
        i, j = (
            np.clip(np.rint(c), 0, n - 1).astype(np.intp) for c, n in ((u, rows), (v, columns))
        )
        height = ndimage.map_coordinates(
            self.height_mm, np.stack([u, v]).reshape(2, -1), order=1, mode="nearest"
        ).reshape(u.shape)
        above = local[..., 2] - height
        near = inside & self.acts[i, j] & (np.abs(local[..., 2]) < HEIGHT_MM + LOOK_MM)
        return np.where(near, above, np.nan)


def find_flat_joint(
    values: Voxels,
    step_mm: Floats,
    places: Floats,
    toward_first: Floats,
    *,
    soft_hu: float,
    bone_hu: float,
    cortex_hu: float,
) -> FlatJoint | None:
    """Find the surface between two bones whose rough labels meet.

    Parameters
    ----------
    values, step_mm
        Upright voxels and spacing along x, y, z.
    places
        Where the rough labels meet, upright mm, shape (n, 3).
    toward_first
        Rough direction from the second bone to the first.
    soft_hu, bone_hu, cortex_hu
        Levels of the scan.

    Returns
    -------
    FlatJoint or None
        ``None`` where the bones hardly meet.
    """
    if len(places) < LEAST_PLACES:
        return None
    center = np.median(places, axis=0)
    spread = places - center
    near = np.linalg.norm(spread, axis=1) < 3.0 * np.median(np.linalg.norm(spread, axis=1)) + 5.0
    axes = np.linalg.svd(spread[near] - spread[near].mean(axis=0), full_matrices=False)[2]
    if axes[2] @ toward_first < 0:
        axes[2] = -axes[2]
    axes[1] = np.cross(axes[2], axes[0])
    local = spread @ axes.T
    reach = np.abs(local[near][:, :2]).max(axis=0) + MARGIN_MM
    rows, columns = (2 * int(np.ceil(r / CELL_MM)) + 1 for r in reach)
    u = (np.arange(rows) - (rows - 1) / 2) * CELL_MM
    v = (np.arange(columns) - (columns - 1) / 2) * CELL_MM
    feet = (
        center
        + u[:, None, None] * axes[0]
        + v[None, :, None] * axes[1]
        - (HEIGHT_MM + LOOK_MM) * axes[2]
    )
    look = round(LOOK_MM / PACE_MM)
    heights = round(2 * HEIGHT_MM / PACE_MM) + 1
    samples = heights + 2 * look
    rays = np.concatenate(
        [
            rays_from(
                values,
                step_mm,
                foot,
                axes[2][None],
                first_mm=0.0,
                pace_mm=PACE_MM,
                samples=samples,
            )
            for foot in feet.reshape(-1, 3)
        ]
    )
    rough = _rough_heights(local[near], rows, columns)
    offset = -HEIGHT_MM + PACE_MM * np.arange(heights)
    costs = np.empty((len(rays), heights), np.float32)
    valleys = np.empty_like(costs)
    gap_costs(rays, look, np.zeros(heights), soft_hu, bone_hu, cortex_hu - soft_hu, costs, valleys)
    costs -= _walls_near(rays, look, soft_hu, cortex_hu - soft_hu)
    costs += (0.004 * (offset[None] - rough.reshape(-1, 1)) ** 2).astype(np.float32)
    found = cheapest_heights(
        costs.reshape(rows, columns, heights), around=False, step_cost=_STEP_COST
    )
    seen = np.zeros((rows, columns), bool)
    i = np.rint(local[near][:, 0] / CELL_MM + (rows - 1) / 2).astype(np.intp)
    j = np.rint(local[near][:, 1] / CELL_MM + (columns - 1) / 2).astype(np.intp)
    seen[i, j] = True
    acts = ndimage.distance_transform_edt(~seen) * CELL_MM < NEAR_MM
    return FlatJoint(
        center=center, axes=axes, height_mm=-HEIGHT_MM + PACE_MM * found, acts=np.asarray(acts)
    )


def _walls_near(rays: Costs, look: int, soft_hu: float, step_hu: float) -> Costs:
    """Gain of heights with two walls close by, though the blur hides the valley between them."""
    near = round(WALLS_MM / PACE_MM)
    mean = ndimage.uniform_filter1d(rays, 2 * near + 1, axis=1)[:, look:-look]
    share = np.clip((mean - soft_hu - 0.15 * step_hu) / (0.5 * step_hu), 0.0, 1.0)
    return (WALLS_GAIN * share).astype(np.float32)


def _rough_heights(local: Floats, rows: int, columns: int) -> Floats:
    """Heights of the places where labels meet, spread smoothly over the grid."""
    weight = np.zeros((rows, columns))
    total = np.zeros((rows, columns))
    i = np.rint(local[:, 0] / CELL_MM + (rows - 1) / 2).astype(np.intp)
    j = np.rint(local[:, 1] / CELL_MM + (columns - 1) / 2).astype(np.intp)
    np.add.at(weight, (i, j), 1.0)
    np.add.at(total, (i, j), local[:, 2])
    sigma = 6.0 / CELL_MM
    weight = ndimage.gaussian_filter(weight, sigma, mode="constant")
    total = ndimage.gaussian_filter(total, sigma, mode="constant")
    return np.where(weight > 1e-6, total / np.maximum(weight, 1e-6), 0.0)  # noqa: PLR2004 (not by zero)
