"""Small tunnels through a bone's voxels: found by their Euler number and closed."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Flags = NDArray[np.bool_]

_REACHES = (1, 2, 3)  # voxels: how wide a tunnel may be (twice that) to be closed


def euler_of(mask: Flags) -> int:
    """Euler number of voxels that hang together over corners: pieces - tunnels + cavities."""
    from skimage.measure import euler_number

    found: Any = euler_number(mask, connectivity=3)
    return int(found)


def without_tunnels(mask: Flags, *, ring: bool) -> tuple[Flags, int]:
    """Close small tunnels through a piece of bone.

    A closing of growing reach offers plugs; a plug stays where it raises the Euler number
    of its neighborhood, which it does only where it stops a tunnel.

    Parameters
    ----------
    mask
        One piece without cavities, with a margin.
    ring
        Whether one tunnel belongs to the bone (wider than any plug).

    Returns
    -------
    tuple
        The voxels, and the number of tunnels that were closed.
    """
    wanted = 0 if ring else 1
    euler = euler_of(mask)
    closed = 0
    for reach in _REACHES:
        if euler >= wanted:
            break
        mask, gained = _plugged(mask, reach)
        closed += gained
        euler += gained
    return mask, closed


def _plugged(mask: Flags, reach: int) -> tuple[Flags, int]:
    ball = ndimage.iterate_structure(ndimage.generate_binary_structure(3, 1), reach)
    offered: Any = ndimage.binary_closing(mask, ball) & ~mask
    plugs: Any
    plugs, _ = ndimage.label(offered, np.ones((3, 3, 3)))
    result = mask.copy()
    gained = 0
    for number, box in enumerate(ndimage.find_objects(plugs), start=1):
        around = tuple(slice(max(part.start - 2, 0), part.stop + 2) for part in box)
        before = result[around]
        after = before | (plugs[around] == number)
        change = euler_of(after) - euler_of(before)
        if change > 0:
            result[around] = after
            gained += change
    return result, gained
