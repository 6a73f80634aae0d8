"""From the voxels of one bone to a closed mesh about a voxel from its edge."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.volume import LabelVolume
from hipwright.engines.geometry.meshes import largest_piece, volume_mm3
from hipwright.engines.segmentation.surface_tunnels import without_tunnels

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]
Flags = NDArray[np.bool_]

_MARGIN = 4  # voxels around the bone; where the scan cuts it, it goes on as far beyond the scan
_SMOOTHING_MM = 0.6
_SMOOTHING_VOXELS = (0.5, 0.9)
_STEPS_MM = (0.65, 1.4)  # coarser grids are refined, finer ones made coarser
_CLOSE_ENOUGH = 0.15
_LEVEL = 0.4999  # just off the middle, which smoothed voxels can meet exactly


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StartMesh:
    """A closed mesh around the voxels of one bone.

    Attributes
    ----------
    vertices
        ``patient_lps``, mm, (n, 3). Where the scan cuts the bone the mesh goes on a few
        voxels beyond the scan, to be cut off flat there.
    faces
        Outward counterclockwise, (m, 3).
    cuts
        Whether the bone reaches the end of the volume, by array axis and end, (3, 2).
    dropped_mm3
        Volume of the specks that were not kept.
    filled_tunnels
        How many small tunnels were closed.
    """

    vertices: Floats = field(repr=False)
    faces: Faces = field(repr=False)
    cuts: Flags
    dropped_mm3: float
    filled_tunnels: int


def start_mesh(labels: LabelVolume, code: int, *, ring: bool) -> StartMesh | None:
    """Wrap the voxels of one code.

    Parameters
    ----------
    labels
        The label volume.
    code
        The bone's code.
    ring
        Whether a bone like this is a ring (a hip bone around its foramen): its widest
        tunnel is kept.

    Returns
    -------
    StartMesh or None
        ``None`` where the code has no voxels to speak of.
    """
    box = _box(labels.codes, code)
    if box is None:
        return None
    mask, cuts = _cut_out(labels.codes, code, box)
    mask, dropped = _largest(mask)
    mask, filled = without_tunnels(mask, ring=ring)
    spacing = labels.grid.spacing_mm
    sigma = np.clip(_SMOOTHING_MM / spacing, *_SMOOTHING_VOXELS)
    soft: Any = ndimage.gaussian_filter(mask.astype(np.float32), sigma, mode="nearest")
    soft, step = _resampled(soft, spacing)
    from skimage.measure import marching_cubes

    surface: Any = marching_cubes(np.pad(soft, 1), level=_LEVEL, allow_degenerate=False)
    local, faces = np.asarray(surface[0], dtype=np.float64), np.asarray(surface[1], np.int32)
    low = np.array([b[0] for b in box]) - _MARGIN
    vertices = labels.grid.to_mm((local - 1.0) * step + low)
    if volume_mm3(vertices, faces) < 0:
        faces = faces[:, ::-1]
    vertices, faces = largest_piece(vertices, faces)
    return StartMesh(
        vertices=vertices,
        faces=faces,
        cuts=cuts,
        dropped_mm3=dropped * labels.grid.voxel_mm3,
        filled_tunnels=filled,
    )


def _box(codes: NDArray[np.uint8], code: int) -> list[tuple[int, int]] | None:
    found: list[Any] = ndimage.find_objects(codes, max_label=code)
    if len(found) < code or found[code - 1] is None:
        return None
    box = [(part.start, part.stop) for part in found[code - 1]]
    return box if all(stop - start > 1 for start, stop in box) else None


def _cut_out(
    codes: NDArray[np.uint8], code: int, box: list[tuple[int, int]]
) -> tuple[Flags, Flags]:
    """The bone's voxels with a margin, and where it reaches the volume's ends."""
    reach = [
        np.clip(np.arange(start - _MARGIN, stop + _MARGIN), 0, size - 1)
        for (start, stop), size in zip(box, codes.shape, strict=True)
    ]
    part = codes[reach[0][0] : reach[0][-1] + 1]
    mask = part[np.ix_(reach[0] - reach[0][0], reach[1], reach[2])] == code
    cuts = np.array(
        [[start == 0, stop == size] for (start, stop), size in zip(box, codes.shape, strict=True)]
    )
    return mask, cuts


def _largest(mask: Flags) -> tuple[Flags, int]:
    """The largest piece without holes inside, and how many voxels lay elsewhere."""
    pieces: Any
    pieces, count = ndimage.label(mask)
    if count > 1:
        sizes = np.bincount(pieces.ravel())
        sizes[0] = 0
        kept = pieces == int(sizes.argmax())
        dropped = int(sizes.sum() - sizes.max())
    else:
        kept, dropped = mask, 0
    filled: Any = ndimage.binary_fill_holes(kept)
    return filled, dropped


def _resampled(soft: NDArray[np.float32], spacing: Floats) -> tuple[NDArray[np.float32], Floats]:
    """The smoothed voxels on a grid that is neither too coarse nor too fine, and its step."""
    wanted = np.clip(spacing, *_STEPS_MM) / spacing
    wanted[spacing > _STEPS_MM[1]] = 1.0 / np.ceil(spacing[spacing > _STEPS_MM[1]] / 1.2)
    step = np.where(np.abs(wanted - 1.0) < _CLOSE_ENOUGH, 1.0, wanted)
    if (step == 1.0).all():
        return soft, step
    shape = tuple(int(np.floor((n - 1) / s)) + 1 for n, s in zip(soft.shape, step, strict=True))
    finer: Any = ndimage.affine_transform(soft, step, output_shape=shape, order=1, mode="nearest")
    return finer, step
