"""Spheres, planes, lines and cylinders through noisy places in space, on raw arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import DegenerateGeometryError

Floats = NDArray[np.float64]

ITERATIONS = 60
CONVERGED_MM = 1e-10
FEWEST_FOR_A_SPHERE = 4
FEWEST_FOR_A_PLANE = 3
FEWEST_FOR_A_LINE = 2
FEWEST_FOR_A_CYLINDER = 6
RANK = 1e-9
"""Singular values below this share of the largest count as zero."""
ROBUST_ROUNDS = 40
TUKEY = 4.685
"""Residuals beyond this many robust standard deviations have no say (Tukey's biweight at
95 % efficiency; from memory, common practice)."""
MAD_TO_SD = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SphereFit:
    """A fitted sphere; ``weights`` tell how much each place had a say, (n,)."""

    center: Floats
    radius: float
    weights: Floats

    def heights(self, places: Floats) -> Floats:
        """How far places, (..., 3), stand outward of it."""
        return np.linalg.norm(places - self.center, axis=-1) - self.radius


def fit_sphere(places: Floats, weights: Floats | None = None) -> SphereFit:
    """Sphere with the least weighted sum of squared distances.

    Starts from the algebraic fit; Gauss–Newton steps on the true (orthogonal) distances.

    Parameters
    ----------
    places
        Shape (n, 3), in any one unit.
    weights
        Shape (n,), none negative; all alike by default.

    Raises
    ------
    DegenerateGeometryError
        Fewer than four places, or places on one plane.
    """
    w = np.ones(len(places)) if weights is None else weights
    _need(places[w > 0], FEWEST_FOR_A_SPHERE, "sphere")
    middle = np.average(places, axis=0, weights=w)
    near = places - middle
    size = float(np.sqrt(np.average((near**2).sum(1), weights=w)))
    root = np.sqrt(w)[:, None]
    design = np.column_stack([2.0 * near / size, np.ones(len(near))])
    wanted = (near**2).sum(axis=1) / size**2
    answer, rank = _solved(design * root, wanted * root[:, 0])
    if rank < design.shape[1]:
        raise _flat("sphere")
    center = answer[:3] * size
    radius = float(np.sqrt(max(answer[3] + float(answer[:3] @ answer[:3]), 0.0))) * size
    for _ in range(ITERATIONS):
        out = near - center
        away = np.linalg.norm(out, axis=1)
        jacobian = np.column_stack([-out / np.maximum(away, 1e-12)[:, None], -np.ones(len(out))])
        step, _ = _solved(jacobian * root, -(away - radius) * root[:, 0])
        center, radius = center + step[:3], radius + float(step[3])
        if np.abs(step).max() < CONVERGED_MM * max(size, 1.0):
            break
    return SphereFit(center=center + middle, radius=radius, weights=w)


def fit_sphere_robustly(
    places: Floats, weights: Floats | None = None, *, start: SphereFit, floor: float
) -> SphereFit:
    """Sphere that places standing off it do not pull.

    Iterated fits with Tukey's biweight on the distances, its scale taken from their median
    absolute value and never below ``floor``.

    Parameters
    ----------
    places, weights
        As for :func:`fit_sphere`; weights by area make the fit independent of the meshing.
    start
        Where to begin.
    floor
        Smallest standard deviation of an honest place, in the unit of the places.
    """
    w = np.ones(len(places)) if weights is None else weights
    fit = start
    for _ in range(ROBUST_ROUNDS):
        off = fit.heights(places)
        scale = max(MAD_TO_SD * _weighted_median(np.abs(off), w), floor)
        pull = np.clip(1.0 - (off / (TUKEY * scale)) ** 2, 0.0, None) ** 2
        before, fit = fit, fit_sphere(places, w * pull)
        moved = max(
            float(np.abs(fit.center - before.center).max()), abs(fit.radius - before.radius)
        )
        if moved < 1e-6:  # noqa: PLR2004 (a nanometer: nobody sees the rest)
            break
    return fit


def radius_about(center: Floats, places: Floats, weights: Floats) -> float:
    """Radius of the sphere of a given center: weighted median of the distances."""
    return _weighted_median(np.linalg.norm(places - center, axis=1), weights)


def fit_plane(places: Floats) -> tuple[Floats, Floats]:
    """Plane with the least sum of squared distances.

    Returns
    -------
    tuple
        A point of the plane (the mean of the places) and its unit normal, whose largest
        component is positive.

    Raises
    ------
    DegenerateGeometryError
        Fewer than three places, or places on one line.
    """
    _need(places, FEWEST_FOR_A_PLANE, "plane")
    middle, sizes, axes = _principal(places)
    if sizes[1] <= RANK * max(sizes[0], 1e-300):
        raise _flat("plane")
    return middle, _pointing(axes[2])


def fit_line(places: Floats) -> tuple[Floats, Floats]:
    """Line with the least sum of squared distances.

    Returns
    -------
    tuple
        A point of the line (the mean of the places) and its unit direction, whose largest
        component is positive.

    Raises
    ------
    DegenerateGeometryError
        Fewer than two places, or all in one spot.
    """
    _need(places, FEWEST_FOR_A_LINE, "line")
    middle, sizes, axes = _principal(places)
    if sizes[0] <= 0:
        raise _flat("line")
    return middle, _pointing(axes[0])


def fit_cylinder(places: Floats, direction: Floats) -> tuple[Floats, Floats, float]:
    """Cylinder with the least sum of squared distances of its wall from the places.

    Parameters
    ----------
    places
        Shape (n, 3).
    direction
        Roughly the direction of its axis (within some tens of degrees).

    Returns
    -------
    tuple
        The point of the axis closest to the mean of the places, its unit direction (like
        ``direction``), and the radius.

    Raises
    ------
    DegenerateGeometryError
        Fewer than six places, or places that no cylinder holds.
    """
    _need(places, FEWEST_FOR_A_CYLINDER, "cylinder")
    middle = places.mean(axis=0)
    near = places - middle
    axis = direction / np.linalg.norm(direction)
    point = np.zeros(3)
    radius = float(np.linalg.norm(near - (near @ axis)[:, None] * axis, axis=1).mean())
    for _ in range(ITERATIONS):
        one, two = square_to(axis)
        along = (near - point) @ axis
        across = near - point - along[:, None] * axis
        away = np.linalg.norm(across, axis=1)
        out = across / np.maximum(away, 1e-12)[:, None]
        by_one, by_two = out @ one, out @ two
        jacobian = np.column_stack(
            [-by_one, -by_two, -along * by_one, -along * by_two, -np.ones(len(near))]
        )
        step, rank = _solved(jacobian, radius - away)
        if rank < jacobian.shape[1]:
            raise _flat("cylinder")
        point = point + step[0] * one + step[1] * two
        axis = axis + step[2] * one + step[3] * two
        axis = axis / np.linalg.norm(axis)
        radius += float(step[4])
        if np.abs(step).max() < CONVERGED_MM:
            break
    return middle + point - (point @ axis) * axis, axis, radius


def square_to(direction: Floats) -> tuple[Floats, Floats]:
    """Two unit directions that make a right-handed trio with a unit direction."""
    away = np.eye(3)[int(np.abs(direction).argmin())]
    first = np.cross(away, direction)
    first /= np.linalg.norm(first)
    return first, np.cross(direction, first)


def _solved(matrix: Floats, wanted: Floats) -> tuple[Floats, int]:
    """Least-squares answer and the rank of the matrix."""
    answer, _, rank, _ = cast(
        "tuple[Floats, Floats, int, Floats]", np.linalg.lstsq(matrix, wanted, rcond=RANK)
    )
    return answer, rank


def _principal(places: Floats) -> tuple[Floats, Floats, Floats]:
    middle = places.mean(axis=0)
    _, sizes, axes = cast(
        "tuple[Floats, Floats, Floats]", np.linalg.svd(places - middle, full_matrices=False)
    )
    if len(axes) < 3:  # noqa: PLR2004 (two places span a line alone)
        axes = np.vstack([axes, np.zeros((3 - len(axes), 3))])
        sizes = np.append(sizes, np.zeros(3 - len(sizes)))
    return middle, sizes, axes


def _pointing(axis: Floats) -> Floats:
    return cast("Floats", axis * np.sign(axis[int(np.abs(axis).argmax())]))


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total: Floats = np.cumsum(weights[order])
    half = int(np.count_nonzero(total < float(total[-1]) / 2))
    return float(values[order[half]])


def _need(places: Floats, fewest: int, shape: str) -> None:
    if len(places) < fewest:
        raise DegenerateGeometryError(
            f"cannot fit a {shape}",
            found=f"{len(places)} places",
            needed=f"at least {fewest}",
            next_step="Check that the bone was scanned there.",
        )


def _flat(shape: str) -> DegenerateGeometryError:
    return DegenerateGeometryError(
        f"cannot fit a {shape}",
        found="places that do not spread far enough",
        needed="places all around it",
        next_step="Check that the bone was scanned there.",
    )
