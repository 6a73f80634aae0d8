"""From a shell of dense voxels to a solid bone, marrow included.

Cavities are found on a coarse grid after small holes in the shell are closed: what cannot be
reached from outside, or is enclosed in two of the three planes. The cavity then grows back to
the shell without crossing it.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

Codes = NDArray[np.uint8]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

CLOSING_MM = 3.2
"""Holes in the shell up to twice this are closed before cavities are looked for."""

SMALL_HOLE_MM2 = 60.0
DENSE_SHARE = 0.5
TOUCHED_SHARE = 0.2


@njit(cache=True, nogil=True)
def grown_along(  # noqa: C901 (one compiled loop)
    flags: Codes, axis: int, reach: int, out: Codes
) -> None:
    """Set ``out`` where a nonzero voxel lies within ``reach`` voxels along an axis."""
    shape = flags.shape
    a_axis, b_axis = (1, 2) if axis == 0 else ((0, 2) if axis == 1 else (0, 1))
    count = shape[axis]
    for a in range(shape[a_axis]):
        for b in range(shape[b_axis]):
            last = -reach - 1
            for s in range(count + reach):
                if s < count:
                    if axis == 0:
                        on = flags[s, a, b]
                    elif axis == 1:
                        on = flags[a, s, b]
                    else:
                        on = flags[a, b, s]
                    if on:
                        last = s
                t = s - reach
                if t < 0:
                    continue
                value = np.uint8(1 if last >= t - reach and last >= 0 else 0)
                if axis == 0:
                    out[t, a, b] = value
                elif axis == 1:
                    out[a, t, b] = value
                else:
                    out[a, b, t] = value


def grown(flags: Codes, reach: tuple[int, int, int]) -> Codes:
    """Nonzero voxels grown by a box.

    Examples
    --------
    >>> dot = np.zeros((3, 3, 5), np.uint8)
    >>> dot[1, 1, 2] = 1
    >>> int(grown(dot, (0, 0, 1)).sum())
    3
    """
    current = np.ascontiguousarray(flags)
    for axis, r in enumerate(reach):
        if r > 0:
            fresh = np.empty_like(current)
            grown_along(current, axis, r, fresh)
            current = fresh
    return current


def closed(flags: Codes, reach: tuple[int, int, int]) -> Codes:
    """Nonzero voxels grown and shrunk again by a box: small holes are gone."""
    pads = [(r, r) for r in reach]
    wide = np.pad(flags, pads)
    shut = 1 - grown(1 - grown(wide, reach), reach)
    inner = tuple(slice(r, n - r) for r, n in zip(reach, wide.shape, strict=True))
    return np.ascontiguousarray(shut[inner])


@njit(cache=True, nogil=True)
def fill_planes(  # noqa: C901, PLR0912 (one compiled loop)
    flags: Codes, most_voxels: int
) -> None:
    """Fill holes of each plane along the first axis, in place; those up to ``most_voxels``."""
    nz, ny, nx = flags.shape
    seen = np.zeros((ny, nx), np.uint8)
    stack = np.empty(ny * nx, np.int64)
    for z in range(nz):
        any_set = False
        for y in range(ny):
            for x in range(nx):
                seen[y, x] = flags[z, y, x]
                any_set = any_set or flags[z, y, x] > 0
        if not any_set:
            continue
        for y in range(ny):
            for x in range(nx):
                if seen[y, x]:
                    continue
                count = 1
                done = 0
                stack[0] = y * nx + x
                seen[y, x] = 1
                outside = False
                while done < count:
                    place = stack[done]
                    done += 1
                    i, j = place // nx, place % nx
                    if i == 0 or j == 0 or i == ny - 1 or j == nx - 1:
                        outside = True
                    for way in range(4):
                        a = i + (1 if way == 0 else (-1 if way == 1 else 0))
                        b = j + (1 if way == 2 else (-1 if way == 3 else 0))  # noqa: PLR2004 (four neighbors)
                        if 0 <= a < ny and 0 <= b < nx and not seen[a, b]:
                            seen[a, b] = 1
                            stack[count] = a * nx + b
                            count += 1
                if not outside and count <= most_voxels:
                    for n in range(count):
                        flags[z, stack[n] // nx, stack[n] % nx] = 1


def _filled_planes(flags: Codes, axis: int) -> Codes:
    turned = np.moveaxis(flags, axis, 0).copy(order="C")
    fill_planes(turned, turned[0].size)
    return np.moveaxis(turned, 0, axis)


def cavities(
    dense: Codes, touched: Codes, reach: tuple[int, int, int], *, cut_faces: tuple[bool, ...]
) -> Codes:
    """Where a bone's marrow lies on the coarse grid.

    Parameters
    ----------
    dense, touched
        Blocks that are mostly, and at least partly, of the bone's shell.
    reach
        Voxels of the closing along z, y, x.
    cut_faces
        Which of the six faces (low z, high z, low y, …) the field cuts the bone at: the bone
        is closed there by what its outline encloses.
    """
    shut = closed(touched, reach)
    for face, cut in enumerate(cut_faces):
        if cut:
            axis, at = face // 2, 0 if face % 2 == 0 else shut.shape[face // 2] - 1
            plane = np.take(shut, [at], axis=axis)
            index = [slice(None)] * 3
            index[axis] = slice(at, at + 1)
            shut[tuple(index)] = _filled_planes(np.ascontiguousarray(plane), axis)
    inside = np.asarray(ndimage.binary_fill_holes(shut)).astype(np.uint8)
    votes = sum((_filled_planes(shut, axis) for axis in range(3)), np.zeros_like(shut))
    full = ((inside > 0) | (votes >= 2)).astype(bool)  # noqa: PLR2004 (two of three planes)
    open_room = (shut > 0) & (dense == 0)
    steps = max(reach) + 1
    from_marrow = ndimage.binary_dilation(full & (shut == 0), iterations=steps, mask=open_room)
    around = np.pad(~full, 1, mode="edge")
    room = np.pad(open_room, 1, constant_values=False)
    from_outside = ndimage.binary_dilation(around, iterations=steps, mask=room | around)
    outer = from_outside[1:-1, 1:-1, 1:-1] & ~from_marrow
    return np.asarray(full & (dense == 0) & ~outer).astype(np.uint8)
