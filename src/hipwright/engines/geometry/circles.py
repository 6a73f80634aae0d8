"""Circles through noisy outlines, on raw arrays."""

from __future__ import annotations

from itertools import combinations
from typing import cast

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError

Floats = NDArray[np.float64]

ITERATIONS = 60
RANK = 1e-9
"""Singular values below this share of the largest count as zero."""
FEW_ITERATIONS = 4
"""Steps of the batch fit: on drawn arcs it then stands still to a micrometer."""
SHIFTED_ITERATIONS = 6
"""The same for arcs that are shifted against each other, by up to half a radius."""
CONVERGED = 1e-12
SINGULAR = 1e-12
"""Determinant of the normal equations, over the cube of their size, below which the points
lie on one line."""
FEWEST_POINTS = 3
FEWEST_TO_REJECT = 8
"""Below this many outline points none is left out: the rest would not hold a circle."""
SMALLEST_SHARE_KEPT = 0.5
PICKED = 15
"""Outline points whose triples are tried: 455 circles."""
DENT_TOLERANCES = 1.5
"""How many tolerances inside the circle a point may lie: a dent is left out too, since the pit
of the head's ligament lies on the outline of many AP films and is 1 to 1.5 mm deep."""


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
        step, _ = _least_squares(jacobian, radius - distances)
        center = center + step[:2]
        radius += float(step[2])
        if np.abs(step).max() < CONVERGED:
            break
    return middle + size * center, size * abs(radius)


def _algebraic(xy: Floats) -> tuple[Floats, float]:
    design = np.column_stack([2 * xy, np.ones(len(xy))])
    solution, rank = _least_squares(design, (xy**2).sum(axis=1))
    if rank < design.shape[1]:
        raise _on_a_line()
    center = solution[:2]
    return center, float(np.sqrt(max(solution[2] + center @ center, 0.0)))


def _least_squares(design: Floats, target: Floats) -> tuple[Floats, int]:
    """The least-squares solution and the rank of the design."""
    found = np.linalg.lstsq(design, target, rcond=RANK)
    solution, _, rank, _ = cast("tuple[Floats, Floats, int, Floats]", found)
    return solution, rank


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


def fit_shifted_arcs(still: Floats, shifted: Floats) -> tuple[Floats, Floats]:
    """Circle below two arcs, one of which is moved along the second axis.

    Parameters
    ----------
    still, shifted
        Arcs that are open downward, shapes (..., a, 2) and (..., b, 2), three or more
        points each.

    Returns
    -------
    tuple
        Centers (..., 2) of the circles through ``still``, and by how much (...) ``shifted``
        lies above them; least squares of the distances of all points. NaN where the arcs
        are open upward or lie on lines.

    Notes
    -----
    Starts from the shifted parabola, which needs no guess. Checked against a
    general-purpose least-squares solver (``tests/golden/test_circle_fit.py``).
    """
    both = np.concatenate([still, shifted], axis=-2)
    moves = np.repeat([0.0, 1.0], [still.shape[-2], shifted.shape[-2]])
    middle = both.mean(axis=-2, keepdims=True)
    size = np.abs(both - middle).max(axis=(-2, -1), keepdims=True)
    scaled = (both - middle) / np.where(size > 0, size, 1.0)
    center, radius, shift = _shifted_parabola(scaled, moves)
    for _ in range(SHIFTED_ITERATIONS):
        across = scaled[..., 0] - center[..., 0, None]
        along = scaled[..., 1] - center[..., 1, None] - shift[..., None] * moves
        distances = np.hypot(across, along)
        safe = np.maximum(distances, np.finfo(np.float64).tiny)
        rising = -along / safe
        design = np.stack([-across / safe, rising, -np.ones_like(safe), rising * moves], axis=-1)
        step = _solve(design, radius[..., None] - distances)
        center, radius, shift = center + step[..., :2], radius + step[..., 2], shift + step[..., 3]
    return middle[..., 0, :] + size[..., 0] * center, size[..., 0, 0] * shift


def _shifted_parabola(xy: Floats, moves: Floats) -> tuple[Floats, Floats, Floats]:
    """The parabola through shifted arcs, as its circle at the top, and the shift."""
    across = xy[..., 0]
    columns = [np.ones_like(across), across, across**2, np.broadcast_to(moves, across.shape)]
    height, slope, bend, shift = np.moveaxis(_solve(np.stack(columns, axis=-1), xy[..., 1]), -1, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        radius = np.where(bend < 0, -0.5 / bend, np.nan)
    top = np.stack([slope * radius, height + slope**2 * radius / 2], axis=-1)
    return top - np.stack([np.zeros_like(radius), radius], axis=-1), radius, shift


def _solve(design: Floats, target: Floats) -> Floats:
    """Least squares by the normal equations, NaN where they are singular, (..., unknowns)."""
    normal = np.swapaxes(design, -1, -2) @ design
    right = (design * target[..., None]).sum(axis=-2)
    size = np.linalg.norm(normal, axis=(-2, -1))
    with np.errstate(invalid="ignore"):  # what was flat in the last step is NaN in this one
        flat = ~(np.abs(np.linalg.det(normal)) > SINGULAR * size ** normal.shape[-1])
    safe = np.where(flat[..., None, None], np.eye(normal.shape[-1]), normal)
    solved = cast("Floats", np.linalg.solve(safe, right[..., None]))[..., 0]
    return np.where(flat[..., None], np.nan, solved)


def fit_round_part(xy: Floats, *, tolerance: float) -> tuple[Floats, float, NDArray[np.bool_]]:
    """Circle of the round part of an outline; bumps and dents are left out.

    Looks at the circles through triples of outline points, takes the one that most of the
    outline agrees with, and refines it: points more than ``tolerance`` outside, or one and a
    half times as far inside, are left out, the rest are fitted, until no point changes.

    Parameters
    ----------
    xy
        Outline, shape (m, 2).
    tolerance
        Greatest distance outside the circle, in the unit of the outline.

    Returns
    -------
    tuple
        Center (2,), radius, and which points were kept, shape (m,). All are kept where the
        outline has fewer than eight points, or where more than half of it would go.

    Notes
    -----
    A least-squares fit from which the worst points are taken one by one fails when the bump
    sits at the end of a short arc: it pulls the circle until it looks round. Agreement of
    triples does not have that weakness (``tests/golden/test_circle_fit.py``). Counting a
    dent for more than a bump has another: on real heads with the pit of the ligament on the
    outline the circle shrank by 2 mm (``tests/studies``).
    """
    kept = np.ones(len(xy), dtype=np.bool_)
    center, radius = fit_circle(xy)
    if len(xy) < FEWEST_TO_REJECT:
        return center, radius, kept
    plain = (center, radius, kept)
    center, radius = _agreed_circle(xy, tolerance)
    kept = np.zeros_like(kept)
    for _ in range(ITERATIONS):
        off = np.hypot(*(xy - center).T) - radius
        within = (off <= tolerance) & (off >= -DENT_TOLERANCES * tolerance)
        if within.sum() < SMALLEST_SHARE_KEPT * len(xy):
            return plain
        if np.array_equal(within, kept):
            break
        kept = within
        center, radius = fit_circle(xy[kept])
    return center, radius, kept


def _agreed_circle(xy: Floats, tolerance: float) -> tuple[Floats, float]:
    """Of the circles through three outline points, the one nearest to most of the outline."""
    picked = np.unique(np.linspace(0, len(xy) - 1, min(len(xy), PICKED)).round().astype(int))
    triples = xy[picked[np.array(list(combinations(range(len(picked)), 3)))]]
    centers, radii = _through_three(triples)
    with np.errstate(invalid="ignore"):  # of a triple on a line, or of one point clicked twice
        off = np.linalg.norm(xy - centers[:, None, :], axis=-1) - radii[:, None]
    cost = np.minimum((off / tolerance) ** 2, 1.0).sum(axis=-1)
    best = int(np.where(np.isfinite(cost), cost, np.inf).argmin())
    return centers[best], float(radii[best])


def _through_three(triples: Floats) -> tuple[Floats, Floats]:
    """Circles through three points each, (k, 3, 2) to (k, 2) and (k,); not finite on a line."""
    first = triples[:, 0]
    b, c = triples[:, 1] - first, triples[:, 2] - first
    twice_area = 2 * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
    b_square, c_square = (b**2).sum(axis=-1), (c**2).sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        x = (c[:, 1] * b_square - b[:, 1] * c_square) / twice_area
        y = (b[:, 0] * c_square - c[:, 0] * b_square) / twice_area
    return first + np.stack([x, y], axis=-1), np.hypot(x, y)
