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
        "anterior_superior_iliac_spine": (31.0, 51.3, 69.7),
        "anterior_inferior_iliac_spine": (12.5, 33.3, 36.6),
        "pubic_tubercle": (-61.1, 51.3, -15.8),
        "symphysis_superior": (-76.8, 43.9, -11.6),
        "ischial_spine_tip": (-36.0, -52.5, 0.1),
        "ischial_tuberosity": (-39.7, -27.0, -64.4),
        "posterior_superior_iliac_spine": (-39.1, -86.9, 89.5),
    }
)
"""Lateral, anterior and superior of the socket's center, anterior pelvic plane upright, mm.

Means of the landmarks that this program finds on both sides of six modeled people, brought to
one width (derived here; they differ by 2 mm at most, real people by more)."""

HALF_WIDTH_MM = 83.5
"""From the middle of the pelvis to a socket's center, of the same people."""


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
