"""What a reader painted, seeded and cut, on the upright grid."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import SegmentationError
from hipwright.domain.volume import Cut, LabelEdits
from hipwright.engines.imaging.upright_volume import UprightVolume

Codes = NDArray[np.uint8]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

ERASED = 254
"""Painted with the eraser: certainly no bone."""

SEED_MM = 1.6
"""Radius of the ball that a seed stands for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UprightCut:
    """A disc in upright mm, with the voxels it runs through.

    Attributes
    ----------
    voxels, above
        (z, y, x) of each, shape (n, 3), and whether it lies on the normal's side.
    """

    center: Floats
    normal: Floats
    radius_mm: float
    voxels: NDArray[np.int64] = field(repr=False)
    above: Flags = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UprightEdits:
    """Edits on the upright voxels.

    Attributes
    ----------
    painted
        Painted code, ``ERASED`` for the eraser, 0 where nothing was painted.
    seeds
        Code around each seed, ``ERASED`` for a seed of no bone, 0 elsewhere.
    cuts
        The discs that part bones.
    """

    painted: Codes = field(repr=False)
    seeds: Codes = field(repr=False)
    cuts: tuple[UprightCut, ...] = ()

    @property
    def certain(self) -> Codes:
        """Codes that are certain for whole bones to start from; paint outranks seeds."""
        known = np.where(self.painted > 0, self.painted, self.seeds)
        return np.where(known == ERASED, 0, known).astype(np.uint8)

    @property
    def wall(self) -> Flags:
        """The voxels that cuts run through."""
        wall = np.zeros(self.painted.shape, bool)
        for cut in self.cuts:
            wall[tuple(cut.voxels.T)] = True
        return wall

    def restrain(self, mask: Codes) -> None:
        """Take painted bone into a bone mask, and erased voxels and cuts out of it, in place."""
        for edited in (self.seeds, self.painted):
            mask[(edited > 0) & (edited < ERASED)] = 1
            mask[edited == ERASED] = 0
        mask[self.wall] = 0

    def say(self, codes: Codes) -> None:
        """Write what is certain over codes, in place; paint outranks seeds and cuts."""
        for edited in (self.seeds, self.painted):
            codes[(edited > 0) & (edited < ERASED)] = edited[(edited > 0) & (edited < ERASED)]
            codes[edited == ERASED] = 0

    def close_cuts(self, codes: Codes) -> None:
        """Give the voxels of each cut to the bones on either side, or to none, in place.

        Where one and the same bone lies on both sides, the cut stays open.
        """
        for cut in self.cuts:
            beside = [_code_beside(codes, cut, above=above) for above in (False, True)]
            parted = beside[0] != beside[1]
            for above, code in zip((False, True), beside, strict=True):
                at = cut.voxels[cut.above == above]
                codes[tuple(at.T)] = code if parted else 0


def upright_edits(edits: LabelEdits, field: UprightVolume) -> UprightEdits:
    """Bring edits to the upright grid.

    Raises
    ------
    SegmentationError
        A code is none of a bone, or a seed or cut lies outside the volume.
    """
    _refuse_unknown(edits)
    home = np.zeros(edits.shape, np.uint8)
    home.reshape(-1)[edits.voxels] = np.where(edits.codes == 0, ERASED, edits.codes)
    painted = field.brought_here(home)
    seeds = np.zeros(painted.shape, np.uint8)
    for seed in edits.seeds:
        at = field.from_patient(np.array(seed.at_mm))
        low, high = _box(at, SEED_MM, field)
        index = _indices(low, high)
        nearest = np.clip(np.rint(at[::-1] / field.spacing_mm), 0, np.array(painted.shape) - 1)
        off = np.linalg.norm(index * field.spacing_mm - at[::-1], axis=1) <= SEED_MM
        chosen = np.concatenate([index[off], nearest.astype(int)[None]])
        seeds[tuple(chosen.T)] = seed.code or ERASED
    return UprightEdits(
        painted=painted, seeds=seeds, cuts=tuple(_upright_cut(cut, field) for cut in edits.cuts)
    )


def _refuse_unknown(edits: LabelEdits) -> None:
    codes = {int(c) for c in np.unique(edits.codes)} | {seed.code for seed in edits.seeds}
    unknown = sorted(c for c in codes if not 0 <= c <= len(Bone))
    if unknown:
        raise SegmentationError(
            "cannot use the edits",
            found=f"code {unknown[0]}",
            needed=f"0 for no bone, or 1 to {len(Bone)}",
            next_step="Save the edits again.",
            field="edits",
        )


def _indices(low: NDArray[np.int64], high: NDArray[np.int64]) -> NDArray[np.int64]:
    """All (z, y, x) of a box, shape (n, 3)."""
    inside = np.ones(tuple(int(n) for n in high - low), bool)
    return np.argwhere(inside).astype(np.int64) + low


def _box(at: Floats, reach_mm: float, field: UprightVolume) -> tuple[NDArray[np.int64], ...]:
    shape = np.array(field.values.shape)
    low = np.clip(np.floor((at[::-1] - reach_mm) / field.spacing_mm), 0, shape).astype(np.int64)
    high = np.clip(np.ceil((at[::-1] + reach_mm) / field.spacing_mm) + 1, 0, shape)
    return low, high.astype(np.int64)


def _upright_cut(cut: Cut, field: UprightVolume) -> UprightCut:
    """Voxels within half a voxel of the disc: too thick for faces of voxels to cross."""
    center = field.from_patient(np.array(cut.center_mm))
    normal = np.array(cut.normal) @ field.axes.T
    normal = normal / np.linalg.norm(normal)
    low, high = _box(center, cut.radius_mm, field)
    index = _indices(low, high)
    off = index[:, ::-1] * field.step_xyz_mm - center
    height = off @ normal
    across = np.linalg.norm(off - height[:, None] * normal, axis=1)
    half = 0.5 * float(np.abs(normal) @ field.step_xyz_mm)
    near = (np.abs(height) <= half) & (across <= cut.radius_mm)
    return UprightCut(
        center=center,
        normal=normal,
        radius_mm=cut.radius_mm,
        voxels=index[near],
        above=height[near] >= 0,
    )


def _code_beside(codes: Codes, cut: UprightCut, *, above: bool) -> int:
    """The code most frequent among the voxels just beyond one side of a cut."""
    step = np.rint(2.0 * cut.normal[::-1] * (1 if above else -1)).astype(int)
    at = cut.voxels + step
    inside = ((at >= 0) & (at < np.array(codes.shape))).all(axis=1)
    counts = np.bincount(codes[tuple(at[inside].T)], minlength=2)
    counts[0] = 0
    return int(counts.argmax()) if counts.any() else 0
