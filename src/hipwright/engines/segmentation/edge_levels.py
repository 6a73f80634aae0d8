"""The levels a scan's edges are fitted with: told by the label step, corrected by the scan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.volume import LabelVolume, Volume
from hipwright.engines.segmentation.edge_blur import AT_MM, LevelsSeen, levels_seen
from hipwright.engines.segmentation.edge_model import EdgeLevels
from hipwright.engines.segmentation.edge_profiles import other_bone_mm, profiles_along
from hipwright.engines.segmentation.segmentation import TissueLevels
from hipwright.engines.segmentation.surface_fit import slice_normal, smooth_normals
from hipwright.engines.segmentation.surface_start import StartMesh

Floats = NDArray[np.float64]

_IN_PLANE = 0.2  # square of the cosine to the slices' normal
_FEW = 200
_MOST = 3000
_CLEAR_AT = np.arange(0.0, 5.0, 0.4)
_SOFT_WITHIN_HU = 200
_LEAST_SLICE_BLUR_MM = 0.2


def told_levels(told: TissueLevels) -> EdgeLevels:
    """What the label step says, as the edge model takes it."""
    return EdgeLevels(
        soft_hu=told.soft_hu,
        cortex_hu=told.cortex_hu,
        noise_hu=told.noise_hu,
        blur_mm=told.blur_mm,
        slice_blur_mm=max(told.slice_blur_mm, _LEAST_SLICE_BLUR_MM),
        overshoot=told.overshoot,
    )


def levels_of(
    volume: Volume,
    labels: LabelVolume,
    starts: Sequence[tuple[int, StartMesh]],
    told: EdgeLevels,
) -> LevelsSeen:
    """Correct the levels by profiles across the edges of the first bone with enough of them.

    Parameters
    ----------
    volume, labels
        The scan.
    starts
        Codes and start meshes, those with the thickest cortex first.
    told
        Levels to start from; given back where no bone shows enough of its edge.
    """
    for code, start in starts:
        profiles, across = _clear_profiles(volume, labels, code, start)
        if len(profiles) >= _FEW:
            return levels_seen(profiles, across, told)
    return LevelsSeen(levels=told, bias_sd_mm=0.1)


def _clear_profiles(
    volume: Volume, labels: LabelVolume, code: int, start: StartMesh
) -> tuple[NDArray[np.float32], Floats]:
    """Profiles in the plane of the slices with no other bone near."""
    normals = smooth_normals(start.vertices, start.faces)
    across = (normals @ slice_normal(volume.grid)) ** 2
    index = volume.grid.to_indices(start.vertices)
    scanned = ((index > 0) & (index < np.array(volume.grid.shape) - 1)).all(axis=1)
    rows = np.flatnonzero((across < _IN_PLANE) & scanned)
    rows = rows[:: max(1, len(rows) // (2 * _MOST))]
    other = other_bone_mm(
        labels.codes, labels.grid, start.vertices[rows], normals[rows], _CLEAR_AT, code
    )
    rows = rows[~np.isfinite(other)]
    rows = rows[:: max(1, len(rows) // _MOST)]
    found = profiles_along(volume.values, volume.grid, start.vertices[rows], normals[rows], AT_MM)
    return found, across[rows]


def measured_levels(volume: Volume, labels: LabelVolume) -> TissueLevels:
    """Levels of a scan from its voxels and labels alone: a first guess for the edge model.

    Soft tissue is the median a few voxels outside the bones, cortex the brightest
    hundredth within them, noise the scatter of neighbors along a row.
    """
    every = max(1, int(np.ceil(labels.codes.size / 2e7)))
    slices = slice(None, None, every)
    bone = labels.codes[slices] > 0
    values = volume.values[slices]
    box = ndimage.find_objects(bone.astype(np.uint8))[0]
    bone, values = bone[box], values[box]
    around = ndimage.binary_dilation(bone, iterations=6) & ~ndimage.binary_dilation(
        bone, iterations=3
    )
    outside = values[around & (np.abs(values) < _SOFT_WITHIN_HU)]
    soft = float(np.median(outside)) if len(outside) else 40.0
    step = np.diff(values, axis=2)[around[:, :, 1:] & around[:, :, :-1]]
    noise = (
        float(1.4826 * np.median(np.abs(step - np.median(step))) / np.sqrt(2))
        if len(step)
        else 20.0
    )
    cortex = max(float(np.percentile(values[bone], 99)), soft + 600.0)
    thickness = volume.slice_thickness_mm or float(volume.grid.spacing_mm[0])
    return TissueLevels(
        soft_hu=soft,
        cortex_hu=cortex,
        noise_hu=noise,
        threshold_hu=soft + 0.21 * (cortex - soft),
        blur_mm=0.55,
        slice_blur_mm=thickness / np.sqrt(12.0),
    )
