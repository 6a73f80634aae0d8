"""Scans of walled balls and rings whose blurred gray values are known in closed form.

The blur of a wall that is large against the blur is that of a flat wall: the error function.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from hipwright.domain.anatomy import Bone
from hipwright.domain.volume import LabelVolume, Volume, VolumeGrid

SOFT, CORTEX, SPONGY = 40.0, 1300.0, 250.0


def grid_of(shape, spacing=(1.0, 0.7, 0.7), shear=0.0, origin=(0.0, 0.0, 0.0)):
    dz, dy, dx = spacing
    steps = np.array([[0.0, 0.0, dz], [0.0, dy, -shear * dy], [dx, 0.0, 0.0]])
    return VolumeGrid(shape=shape, origin_mm=np.array(origin), steps_mm=steps, fixed_to="ball")


def places_of(grid):
    index = np.stack(np.meshgrid(*(np.arange(n) for n in grid.shape), indexing="ij"), axis=-1)
    return grid.to_mm(index.astype(np.float64))


@dataclass(frozen=True, kw_only=True)
class Walled:
    """A body by the height of places over its surface, mm."""

    bone: Bone
    heights: np.ndarray
    wall_mm: float


def ball(grid, bone, center, radius, wall_mm=1.2):
    away = np.linalg.norm(places_of(grid) - center, axis=-1)
    return Walled(bone=bone, heights=away - radius, wall_mm=wall_mm)


def ring(grid, bone, center, radius, thick, wall_mm=1.2):
    out = places_of(grid) - center
    away = np.hypot(np.hypot(out[..., 0], out[..., 2]) - radius, out[..., 1]) - thick
    return Walled(bone=bone, heights=away, wall_mm=wall_mm)


def scanned(grid, bodies, *, blur_mm=0.5, noise=0.0, seed=1, cortex=CORTEX):
    hu = np.full(grid.shape, SOFT)
    codes = np.zeros(grid.shape, np.uint8)
    for body in bodies:
        outer = ndtr(-body.heights / blur_mm)
        inner = ndtr(-(body.heights + body.wall_mm) / blur_mm)
        hu += (outer - inner) * (cortex - SOFT) + inner * (SPONGY - SOFT)
        codes[body.heights < 0] = body.bone.code
    hu += noise * np.random.default_rng(seed).standard_normal(grid.shape)
    volume = Volume(
        values=np.rint(hu).astype(np.int16),
        grid=grid,
        slice_thickness_mm=float(grid.spacing_mm[0]),
    )
    return volume, LabelVolume(codes=codes, grid=grid)
