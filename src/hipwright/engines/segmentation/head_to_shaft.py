"""Whether a labeled femur is one solid from head to shaft, without a tunnel through its neck."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.measure import euler_number

from hipwright.engines.imaging.block_means import (
    FULL_SHARE,
    block_shape,
    block_shares,
    coarse_shape,
)

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Rays = NDArray[np.float32]

LOOK_MM = 1.5
REACH_RADII = 2.4
"""How far about the head the bone is looked at, in head radii."""

NECK_RADII = 1.45
"""Head and neck reach so far; the trochanter stays out, whose fossa may close to a ring."""

SMOOTH_MM = 1.2
"""Blur before tunnels are counted: a handle of one voxel is noise."""

THINNED_MM = 3.0
"""The neck must still hold together after this much is taken off all around (judgment)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadToShaft:
    """What was found about the way from the head to the shaft."""

    one_solid: bool
    tunnels: int

    @property
    def sound(self) -> bool:
        """One solid without tunnels."""
        return self.one_solid and self.tunnels == 0


def look_at_neck(
    codes: Codes,
    code: int,
    spacing_mm: Floats,
    center: Floats,
    radius_mm: float,
    neck: Floats,
) -> HeadToShaft:
    """Look at head, neck and the beginning of the shaft on a coarse grid.

    Parameters
    ----------
    codes, code
        Labels, and that of the femur.
    spacing_mm
        Along z, y, x.
    center, radius_mm, neck
        Of the head, upright mm.
    """
    reach = REACH_RADII * radius_mm
    low = np.clip((center[::-1] - reach) / spacing_mm, 0, codes.shape).astype(int)
    high = np.clip((center[::-1] + reach) / spacing_mm + 1, 0, codes.shape).astype(int)
    box = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    own = (codes[box] == code).astype(np.uint8)
    block = block_shape(spacing_mm, LOOK_MM)
    shares = np.empty(coarse_shape(own.shape, block), np.uint8)
    block_shares(own, block, shares)
    step = spacing_mm * block
    even: Rays = ndimage.gaussian_filter(shares.astype(np.float32), SMOOTH_MM / step)
    solid = np.asarray(even > FULL_SHARE / 2)
    depth = ndimage.distance_transform_edt(np.pad(solid, 1), sampling=step)
    core = np.asarray(depth)[1:-1, 1:-1, 1:-1] > THINNED_MM
    labels = ndimage.label(core)[0]
    head_at = (center[::-1] / spacing_mm - low) / block
    grid = np.indices(solid.shape).astype(float)
    off = [(grid[k] - head_at[k]) * step[k] for k in range(3)]
    away = np.sqrt(off[0] ** 2 + off[1] ** 2 + off[2] ** 2)
    along = off[2] * neck[0] + off[1] * neck[1] + off[0] * neck[2]
    in_head = np.unique(labels[(away < 0.5 * radius_mm) & core])
    beyond = np.unique(labels[(along > 1.5 * radius_mm) & core])
    one = bool(len(np.intersect1d(in_head, beyond)))
    near = solid & (away < NECK_RADII * radius_mm)
    parts = ndimage.label(near, np.ones((3, 3, 3)))[0]
    middle = tuple(np.clip(np.rint(head_at), 0, np.array(solid.shape) - 1).astype(int))
    name = parts[middle]
    if not name:
        return HeadToShaft(one_solid=False, tunnels=0)
    piece = np.asarray(ndimage.binary_fill_holes(parts == name))
    tunnels = 1 - int(euler_number(np.pad(piece, 1), connectivity=3))
    return HeadToShaft(one_solid=one, tunnels=max(tunnels, 0))
