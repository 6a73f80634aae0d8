"""Where hip bones and sacrum meet: pieces and skins that got the wrong name change it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.anatomy import Bone
from hipwright.engines.segmentation.solids import grown

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Box = tuple[slice, slice, slice]

HANDED_MM3 = 2000.0
"""A loose piece up to this size goes over to the bone it touches across a flat joint."""

HANDED_TOUCH = 6
"""Least voxels with which it must touch (judgment)."""

AROUND_MM = 9.0
_MEETING = (Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT, Bone.SACRUM)
_PAIRS = (
    (Bone.HIP_BONE_RIGHT, Bone.SACRUM),
    (Bone.HIP_BONE_LEFT, Bone.SACRUM),
    (Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT),
)
SKIN_MM = 1.6
"""What is at most twice as thick as this may be a skin on the other bone (judgment)."""

LOOSER = 1.5
"""A skin hangs so many times as much on the other bone as on its own (judgment)."""

AROUND_BOX_MM = 6.0


def hand_over(codes: Codes, barred: Codes, spacing_mm: Floats) -> None:
    """Give loose pieces of hip bones and sacrum to the one of them they touch, in place.

    The surface of a flat joint acts a little beyond the joint and may cut the edge off a bone
    that bends there. Around such a piece ``barred`` no longer keeps its bone out.
    """
    most = int(HANDED_MM3 / spacing_mm.prod())
    reach = np.ceil(AROUND_MM / spacing_mm).astype(int)
    boxes = _boxes(codes)
    for bone in _MEETING:
        box = boxes[bone.code - 1]
        if box is None:
            continue
        labels, count = ndimage.label(codes[box] == bone.code)
        sizes = np.bincount(labels.ravel(), minlength=count + 1)
        for number, inner in enumerate(ndimage.find_objects(labels), start=1):
            if not HANDED_TOUCH <= sizes[number] <= most or sizes[number] == sizes[1:].max():
                continue
            start = [b.start + i.start for b, i in zip(box, inner, strict=True)]
            stop = [b.start + i.stop for b, i in zip(box, inner, strict=True)]
            wide = _grown_box(start, stop, np.ones(3, int), codes.shape)
            piece = np.zeros(codes[wide].shape, bool)
            piece[tuple(slice(s - w.start, e - w.start) for s, e, w in zip(
                start, stop, wide, strict=True
            ))] = labels[inner] == number  # fmt: skip
            border = codes[wide][ndimage.binary_dilation(piece) & ~piece]
            touch = {b: int((border == b.code).sum()) for b in _MEETING if b is not bone}
            taker = max(touch, key=lambda b: touch[b])
            if touch[taker] < HANDED_TOUCH:
                continue
            codes[wide][piece] = taker.code
            barred[_grown_box(start, stop, reach, codes.shape)] &= ~np.uint8(1 << (taker.code - 1))


def _boxes(codes: Codes) -> Sequence[tuple[slice, ...] | None]:
    return ndimage.find_objects(codes, max_label=len(Bone))


def _grown_box(
    start: Sequence[int], stop: Sequence[int], reach: NDArray[np.int_], shape: tuple[int, ...]
) -> Box:
    low, up, across = (
        slice(max(0, a - int(r)), min(n, b + int(r)))
        for a, b, r, n in zip(start, stop, reach, shape, strict=True)
    )
    return low, up, across


def settle_skins(codes: Codes, spacing_mm: Floats) -> None:
    """Give thin sheets of one bone that lie on another bone to that one, in place.

    Flooding runs from a place of contact along the surface of the other bone.
    """
    for first, second in _PAIRS:
        boxes = _boxes(codes)
        one, two = boxes[first.code - 1], boxes[second.code - 1]
        if one is None or two is None:
            continue
        start = [max(a.start, b.start) for a, b in zip(one, two, strict=True)]
        stop = [min(a.stop, b.stop) for a, b in zip(one, two, strict=True)]
        if any(s >= n for s, n in zip(start, stop, strict=True)):
            continue
        pad = np.ceil(AROUND_BOX_MM / spacing_mm).astype(int)
        here = codes[_grown_box(start, stop, pad, codes.shape)]
        for own, other in ((first, second), (second, first)):
            _settle(here, own.code, other.code, spacing_mm)


def _settle(here: Codes, own: int, other: int, spacing_mm: Floats) -> None:
    z, y, x = (max(1, round(SKIN_MM / float(s))) for s in spacing_mm)
    flags = (here == own).astype(np.uint8)
    core = grown(1 - grown(1 - flags, (z, y, x)), (z, y, x)) & flags
    labels, count = ndimage.label((flags > 0) & (core == 0))
    if not count:
        return
    on_other = np.zeros(count + 1, np.int64)
    on_own = np.zeros(count + 1, np.int64)
    for axis in range(3):
        for skin, beside in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
            mine, theirs = [slice(None)] * 3, [slice(None)] * 3
            mine[axis], theirs[axis] = skin, beside
            names = labels[tuple(mine)]
            on_other += np.bincount(names[here[tuple(theirs)] == other], minlength=count + 1)
            on_own += np.bincount(names[core[tuple(theirs)] > 0], minlength=count + 1)
    goes = (on_other >= HANDED_TOUCH) & (on_other > LOOSER * on_own)
    goes[0] = False
    here[goes[labels]] = other
