"""Circles through noisy outlines, on raw arrays."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError

Floats = NDArray[np.float64]

ITERATIONS = 60
FEW_ITERATIONS = 12
"""Steps of the batch fit: on drawn arcs it stands still after about six."""
CONVERGED = 1e-12
SINGULAR = 1e13
"""Condition of the normal equations beyond which the points lie on one line."""
FEWEST_POINTS = 3
FEWEST_TO_REJECT = 8
"""Below this many outline points none is left out: the rest would not hold a circle."""
SMALLEST_SHARE_KEPT = 0.5


def fit_circle(xy: Floats) -> tuple[Floats, float]:
    """Least-squares circle: the one with the least sum of squared distances.

    Starts from the algebraic fit and improves it by Gauss–Newton steps on the
    true (orthogonal) distances.

    Parameters
    ----------
    xy
        Outline, shape (m, 2), in any one unit.

    Returns
    -------
    tuple
        Center, shape (2,), and radius, in the unit of the input.

    Raises
    ------
    DegenerateGeometryError
        Fewer than three points, or points on one line.

    Notes
    -----
    Checked against a general-purpose least-squares solver
    (``tests/golden/test_circle_fit.py``).
    """
    if len(xy) < FEWEST_POINTS:
        raise DegenerateGeometryError(
            "cannot fit a circle",
            found=f"{len(xy)} points",
            needed="three or more",
            next_step="Click further points on the round outline.",
        )
    middle = xy.mean(axis=0)
    size = float(np.abs(xy - middle).max())
    if size == 0:
        raise _on_a_line()
    scaled = (xy - middle) / size
    center, radius = _algebraic(scaled)
    for _ in range(ITERATIONS):
        arms = scaled - center
        distances = np.hypot(arms[:, 0], arms[:, 1])
        safe = np.maximum(distances, np.finfo(np.float64).tiny)
        jacobian = np.column_stack([-arms / safe[:, None], -np.ones(len(scaled))])
        step, *_ = np.linalg.lstsq(jacobian, radius - distances, rcond=None)
        center = center + step[:2]
        radius += float(step[2])
        if np.abs(step).max() < CONVERGED:
            break
    return middle + size * center, size * abs(radius)


def _algebraic(xy: Floats) -> tuple[Floats, float]:
    design = np.column_stack([2 * xy, np.ones(len(xy))])
    solution, _, rank, _ = np.linalg.lstsq(design, (xy**2).sum(axis=1), rcond=1e-9)
    if rank < design.shape[1]:
        raise _on_a_line()
    center = solution[:2]
    return center, float(np.sqrt(max(solution[2] + center @ center, 0.0)))


def _on_a_line() -> DegenerateGeometryError:
    return DegenerateGeometryError(
        "cannot fit a circle",
        found="points on one line",
        needed="points spread over an arc",
        next_step="Spread the clicks over the round part of the head.",
    )


def fit_circles(xy: Floats) -> tuple[Floats, Floats]:
    """Least-squares circles of many outlines at once, as :func:`fit_circle` fits one.

    Parameters
    ----------
    xy
        Outlines of equally many points, shape (..., m, 2).

    Returns
    -------
    tuple
        Centers (..., 2) and radii (...); NaN where the points lie on one line.
    """
    middle = xy.mean(axis=-2, keepdims=True)
    size = np.abs(xy - middle).max(axis=(-2, -1), keepdims=True)
    scaled = (xy - middle) / np.where(size > 0, size, 1.0)
    ones = np.ones((*scaled.shape[:-1], 1))
    design = np.concatenate([2 * scaled, ones], axis=-1)
    solution = _solve(design, (scaled**2).sum(axis=-1))
    center = solution[..., :2]
    radius = np.sqrt(np.maximum(solution[..., 2] + (center**2).sum(axis=-1), 0.0))
    for _ in range(FEW_ITERATIONS):
        arms = scaled - center[..., None, :]
        distances = np.hypot(arms[..., 0], arms[..., 1])
        safe = np.maximum(distances, np.finfo(np.float64).tiny)
        step = _solve(
            np.concatenate([-arms / safe[..., None], -ones], axis=-1),
            radius[..., None] - distances,
        )
        center, radius = center + step[..., :2], radius + step[..., 2]
    return (
        middle[..., 0, :] + size[..., 0] * center,
        size[..., 0, 0] * np.abs(radius),
    )


def _solve(design: Floats, target: Floats) -> Floats:
    """Least squares by the normal equations, NaN where they are singular, (..., 3)."""
    normal = np.swapaxes(design, -1, -2) @ design
    right = (design * target[..., None]).sum(axis=-2)
    flat = np.linalg.cond(normal) > SINGULAR
    safe = np.where(flat[..., None, None], np.eye(normal.shape[-1]), normal)
    solved = np.linalg.solve(safe, right[..., None])[..., 0]
    return np.where(flat[..., None], np.nan, solved)


def fit_round_part(xy: Floats, *, tolerance: float) -> tuple[Floats, float, NDArray[np.bool_]]:
    """Circle of the round part of an outline; what bulges out of it is left out.

    Fits, leaves out the point farthest *outside* the circle while it is more
    than ``tolerance`` outside, and fits again, until none is or half of the
    outline is gone. Points inside the circle stay: a bump never dents.

    Parameters
    ----------
    xy
        Outline, shape (m, 2).
    tolerance
        Greatest distance outside the circle, in the unit of the outline.

    Returns
    -------
    tuple
        Center (2,), radius, and which points were kept, shape (m,).
    """
    kept = np.ones(len(xy), dtype=np.bool_)
    center, radius = fit_circle(xy)
    fewest = max(FEWEST_TO_REJECT - 1, int(np.ceil(SMALLEST_SHARE_KEPT * len(xy))))
    while len(xy) >= FEWEST_TO_REJECT and kept.sum() > fewest:
        outside = np.hypot(*(xy - center).T) - radius
        outside[~kept] = -np.inf
        worst = int(outside.argmax())
        if outside[worst] <= tolerance:
            break
        kept[worst] = False
        center, radius = fit_circle(xy[kept])
    return center, radius, kept
