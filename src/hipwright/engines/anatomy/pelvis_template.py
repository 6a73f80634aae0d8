"""Where landmarks lie on an ordinary pelvis, for finding a frame from only some of them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ORDINARY_MM: Mapping[str, tuple[float, float, float]] = MappingProxyType(
    {
        "socket_center": (0.0, 0.0, 0.0),
        "anterior_superior_iliac_spine": (30.4, 49.5, 69.8),
        "anterior_inferior_iliac_spine": (12.0, 32.4, 36.0),
        "pubic_tubercle": (-65.0, 49.5, -16.0),
        "symphysis_superior": (-82.0, 42.0, -12.0),
        "ischial_spine_tip": (-34.5, -51.7, -0.5),
        "ischial_tuberosity": (-38.3, -26.7, -63.2),
        "posterior_superior_iliac_spine": (-38.3, -84.9, 87.0),
    }
)
"""Lateral, anterior and superior of the socket's center, anterior pelvic plane upright, mm.

Computed from the mean and modes of the shape model that the phantoms are built from
(`derived`)."""

HALF_WIDTH_MM = 83.5
"""From the middle of the pelvis to a socket's center, of the same shapes."""


def ordinary_place(landmark: str, mirror: float) -> Floats | None:
    """Place on the ordinary pelvis, mm right, anterior and superior of its middle.

    ``mirror`` is +1 for the right side and −1 for the left; ``None`` for a landmark that
    the ordinary pelvis does not have.
    """
    if landmark not in ORDINARY_MM:
        return None
    lateral, anterior, superior = ORDINARY_MM[landmark]
    return np.array([mirror * (lateral + HALF_WIDTH_MM), anterior, superior])


def best_turn(ordinary: Floats, found: Floats) -> tuple[Floats, float]:
    """Turn and size that lay places on each other best (least squares; Umeyama 1991, from memory).

    Parameters
    ----------
    ordinary, found
        Same places on the ordinary pelvis and in the patient, (n, 3), at least three.

    Returns
    -------
    tuple
        Proper rotation (3, 3) with rows right, anterior and superior of the ordinary pelvis
        in the frame of ``found``; and the root mean square of what is left, mm.
    """
    there = ordinary - ordinary.mean(axis=0)
    here = found - found.mean(axis=0)
    u, spread, vt = np.linalg.svd(there.T @ here)
    sign = np.sign(np.linalg.det(u @ vt))
    mirror = np.diag([1.0, 1.0, sign])
    rotation = u @ mirror @ vt
    size = float((spread * np.diag(mirror)).sum() / (there**2).sum())
    left = here - size * there @ rotation
    return rotation, float(np.sqrt((left**2).sum(axis=1).mean()))
