"""All remarks on one volume and its labels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone, Remark
from hipwright.domain.volume import Volume
from hipwright.engines.imaging.upright_volume import UprightVolume
from hipwright.engines.segmentation.find_hips import FoundHip
from hipwright.engines.segmentation.head_to_shaft import HeadToShaft
from hipwright.engines.segmentation.label_remarks import (
    head_remarks,
    pair_remarks,
    volume_remarks,
)
from hipwright.engines.segmentation.scan_remarks import (
    bias_remarks,
    contrast_remarks,
    coverage_remarks,
    density_remarks,
    metal_remarks,
    motion_remarks,
    sharpness_remarks,
)
from hipwright.engines.segmentation.segmentation import TissueLevels

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

LEAST_VOXELS = 12
"""So many voxels of a bone in the last slice mean that the field cuts it."""


def look_over(
    field: UprightVolume,
    coarse: Voxels,
    coarse_step_mm: Floats,
    codes: Codes,
    hips: Sequence[FoundHip],
    ways: Sequence[HeadToShaft],
    levels: TissueLevels,
    volume: Volume,
) -> tuple[Remark, ...]:
    """Collect the remarks on a scan and its labels.

    Parameters
    ----------
    field, codes
        Upright voxels and their labels.
    coarse, coarse_step_mm
        Block means and their spacing along x, y, z.
    hips, ways
        Found hips, and what was found about each neck.
    levels, volume
        Gray levels, and the volume as it came.
    """
    step_mm = field.step_xyz_mm
    middle = float(np.mean([hip.sphere.center[0] for hip in hips]))
    counts = np.bincount(codes.reshape(-1), minlength=len(Bone) + 1)
    volumes = {bone: float(counts[bone.code] * field.spacing_mm.prod()) for bone in Bone}
    cut = [bone for bone in Bone if _touches(codes, bone)]
    extent = (np.array(codes.shape)[::-1] - 1) * step_mm
    block = tuple(round(float(c / s)) for c, s in zip(coarse_step_mm, step_mm, strict=True))[::-1]
    labeled = codes[tuple(slice(n // 2, None, n) for n in block)]
    labeled = np.pad(
        labeled, [(0, n - m) for n, m in zip(coarse.shape, labeled.shape, strict=True)]
    )
    bias = bias_remarks(coarse, middle, coarse_step_mm, levels.threshold_hu)
    found = (
        *metal_remarks(field.values, field.spacing_mm, hips),
        *motion_remarks(coarse, coarse_step_mm),
        *sharpness_remarks(levels, float(field.spacing_mm[0]), volume.slice_thickness_mm),
        *density_remarks(field.values, step_mm, hips, levels.soft_hu),
        *(bias if len(hips) > 1 else ()),
        *contrast_remarks(coarse, labeled, coarse_step_mm[::-1], levels.soft_hu),
        *coverage_remarks(hips, extent, cut),
        *pair_remarks(hips),
        *volume_remarks(volumes, cut),
    )
    necks = [r for hip, way in zip(hips, ways, strict=True) for r in head_remarks(hip, way)]
    return (*found, *necks)


def cut_bones(codes: Codes) -> tuple[frozenset[Bone], frozenset[Bone]]:
    """The bones that the lowest and the highest upright slice cut through."""
    ends: list[frozenset[Bone]] = []
    for plane in (codes[0], codes[-1]):
        counts = np.bincount(plane.reshape(-1), minlength=len(Bone) + 1)
        ends.append(frozenset(bone for bone in Bone if counts[bone.code] >= LEAST_VOXELS))
    return ends[0], ends[1]


def _touches(codes: Codes, bone: Bone) -> bool:
    faces = (codes[0], codes[-1], codes[:, 0], codes[:, -1], codes[:, :, 0], codes[:, :, -1])
    return any(int((face == bone.code).sum()) >= LEAST_VOXELS for face in faces)
