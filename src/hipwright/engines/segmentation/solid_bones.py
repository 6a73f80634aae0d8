"""From labeled dense voxels to solid bones: largest part, marrow filled, rest named."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.anatomy import Bone
from hipwright.engines.imaging.block_means import (
    FULL_SHARE,
    block_shape,
    block_shares,
    coarse_shape,
)
from hipwright.engines.segmentation.solids import (
    CLOSING_MM,
    DENSE_SHARE,
    SMALL_HOLE_MM2,
    TOUCHED_SHARE,
    cavities,
    fill_planes,
)

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Box = tuple[slice, slice, slice]

SOLID_MM = 1.5
SMALLEST_PIECE_MM3 = 60.0
SPINE_PIECE_MM3 = 400.0


def keep_largest(codes: Codes, bones: Sequence[Bone], spacing_mm: Floats) -> None:
    """Keep the largest piece of each bone; name other large ones OTHER, drop the rest; in place.

    The sacrum stands for the spine as well and keeps its pieces.
    """
    boxes: Sequence[tuple[slice, ...] | None] = ndimage.find_objects(codes, max_label=len(Bone))
    for bone in bones:
        box = boxes[bone.code - 1] if bone.code <= len(boxes) else None
        if box is None:
            continue
        here = codes[box]
        labels, count = ndimage.label(here == bone.code)
        if count <= 1:
            continue
        sizes = np.bincount(labels.ravel())
        sizes[0] = 0
        names = np.zeros(len(sizes), np.uint8)
        if bone is Bone.SACRUM:
            names[sizes * spacing_mm.prod() >= SPINE_PIECE_MM3] = bone.code
        else:
            names[sizes * spacing_mm.prod() >= SMALLEST_PIECE_MM3] = Bone.OTHER.code
        names[int(sizes.argmax())] = bone.code
        loose = (labels > 0) & (labels != int(sizes.argmax()))
        here[loose] = names[labels[loose]]


def fill_bones(codes: Codes, barred: Codes, bones: Sequence[Bone], spacing_mm: Floats) -> None:
    """Fill the marrow of each bone, in place.

    Nothing of another bone is overwritten, and nothing that ``barred`` keeps a bone out of.
    """
    boxes: Sequence[tuple[slice, ...] | None] = ndimage.find_objects(codes, max_label=len(Bone))
    block = block_shape(spacing_mm, SOLID_MM)
    for bone in bones:
        box = boxes[bone.code - 1] if bone.code <= len(boxes) else None
        if box is None:
            continue
        even: Box = tuple(  # pyright: ignore[reportAssignmentType] (three slices from three axes)
            slice(b.start - b.start % n, min(-(-b.stop // n) * n, size))
            for b, n, size in zip(box, block, codes.shape, strict=True)
        )
        here = codes[even]
        own = (here == bone.code).astype(np.uint8)
        cavity = _cavity(own, block, spacing_mm, codes.shape, even)
        fine = cavity
        for axis, n in enumerate(block):
            fine = fine.repeat(n, axis=axis)
        fine = fine[tuple(slice(0, n) for n in own.shape)]
        bit = np.uint8(1 << (bone.code - 1))
        loose = (here == 0) | (here == Bone.OTHER.code)  # islands of dense marrow are OTHER so far
        free = loose & ((barred[even] & bit) == 0)
        own |= (fine > 0) & free
        pixel = float(spacing_mm[1] * spacing_mm[2])
        fill_planes(own, int(SMALL_HOLE_MM2 / pixel))
        here[(own > 0) & free] = bone.code


def _cavity(
    own: Codes,
    block: tuple[int, int, int],
    spacing_mm: Floats,
    shape: tuple[int, ...],
    box: Box,
) -> Codes:
    shares = np.empty(coarse_shape(own.shape, block), np.uint8)
    block_shares(own, block, shares)
    dense = (shares >= DENSE_SHARE * FULL_SHARE).astype(np.uint8)
    touched = (shares >= TOUCHED_SHARE * FULL_SHARE).astype(np.uint8)
    z, y, x = (max(1, round(CLOSING_MM / (s * n))) for s, n in zip(spacing_mm, block, strict=True))
    faces: list[bool] = []
    for part, size in zip(box, shape, strict=True):
        faces += [part.start == 0, part.stop >= size]
    return cavities(dense, touched, (z, y, x), cut_faces=tuple(faces))
