"""Which way the neck leaves the head: where no cortex ends the head and bone goes on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.imaging.ray_samples import even_directions, rays_from

Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

DIRECTIONS = 1500
CONE_DEG = 22.0
LATERAL, INFERIOR = 0.75, 0.6
"""Where a neck points, roughly (common practice); it only helps to choose."""

PRIOR_WEIGHT = 0.35
CORTEX_SHARE = 0.4
"""Fall at the head's edge that is certainly cortex, of the step from soft tissue to cortex."""

MARROW_OVER_SOFT_HU = 60.0
"""How far the inside of a neck lies above soft tissue at least (judgment)."""

REFINE_DEG = 42.0


def neck_direction(
    values: Voxels,
    step_mm: Floats,
    center: Floats,
    radius_mm: float,
    lateral: float,
    *,
    soft_hu: float,
    step_hu: float,
) -> tuple[Floats, float]:
    """Unit vector along the neck (upright x, y, z), and how clear it is.

    Parameters
    ----------
    values, step_mm
        Upright voxels and spacing along x, y, z.
    center, radius_mm
        Of the head, upright mm.
    lateral
        +1 where the patient's left is lateral, −1 for a right hip.
    soft_hu, step_hu
        Soft tissue, and the step from it to cortex.
    """
    directions = even_directions(DIRECTIONS)
    at_edge = rays_from(
        values, step_mm, center, directions, first_mm=radius_mm - 4.0, pace_mm=0.5, samples=16
    )
    half = 2
    falls = at_edge[:, : -2 * half] - at_edge[:, 2 * half :]
    open_there = 1.0 - np.clip(falls.max(axis=1) / (CORTEX_SHARE * step_hu), 0.0, 1.0)
    beyond = rays_from(
        values,
        step_mm,
        center,
        directions,
        first_mm=1.05 * radius_mm,
        pace_mm=0.05 * radius_mm,
        samples=10,
    )
    filled = np.clip((beyond - soft_hu) / MARROW_OVER_SOFT_HU, 0.0, 1.0)
    evidence = open_there * np.asarray(filled.mean(axis=1), dtype=np.float64)
    prior = np.array([LATERAL * lateral, 0.0, -INFERIOR])
    prior /= np.linalg.norm(prior)
    near = directions @ directions.T > np.cos(np.radians(CONE_DEG))
    gathered = (near @ evidence) / near.sum(axis=1)
    score = gathered + PRIOR_WEIGHT * (directions @ prior)
    neck = directions[int(score.argmax())]
    for _ in range(4):
        weights = evidence * (directions @ neck > np.cos(np.radians(REFINE_DEG)))
        pulled = weights @ directions
        length = float(np.linalg.norm(pulled))
        if length <= 0.0:
            break
        neck = pulled / length
    return neck, float(score.max())
