"""A sphere through the edge of a femoral head, as rays from its inside see it.

Each ray stops at its *first* edge from bone to something darker: the strongest edge may be
the socket's.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.imaging.ray_samples import even_directions, rays_from

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rays = NDArray[np.float32]
Voxels = NDArray[np.int16]

RAYS = 1500
FIRST_MM, PACE_MM, REACH_MM = 5.0, 0.5, 42.0
EDGE_HALF_MM = 1.0
INWARD_MM, OUTWARD_MM = 7.0, 5.0
"""How far from the radius so far an edge is looked for."""
MOST_NEEDED = 0.6
EDGE_OF_BEST = 0.5
LEAST_EDGE = 0.12
"""Least fall that counts, as a share of the step from soft tissue to cortex (judgment)."""
NEAR_MM = 1.0
ROUNDS = 6
STARTS_MM = (0.0, -2.0)
LOWER_STARTS_MM = (2.5,)
_WIDE_MM, _NARROW_MM = 5.0, 2.5
_LEAST_RAYS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeadSphere:
    """A robust sphere, upright mm.

    Attributes
    ----------
    inlier_share
        Share of all rays whose first edge lies within 1 mm of the sphere.
    edge_mm
        Distance of the first edge along each of the even directions, NaN where there is none.
    """

    center: Floats
    radius_mm: float
    rms_mm: float
    inlier_share: float
    edge_mm: Floats = field(repr=False)

    @property
    def score(self) -> float:
        """Large for a round head: share of inliers over their spread."""
        return self.inlier_share / (0.3 + self.rms_mm)


@njit(cache=True, nogil=True)
def first_falls(
    rays: Rays,
    half: int,
    window: tuple[int, int],
    share_of_best: float,
    most_needed: float,
    least_fall: float,
    out: Floats,
) -> None:
    """Find the first significant fall along each ray, in samples between; NaN for none.

    A fall at sample s is the value ``half`` samples before less that ``half`` samples after;
    within the window it counts when it is a local maximum of at least ``share_of_best`` of
    the largest there (or of ``most_needed``, if that is larger) and at least ``least_fall``.
    The place is then where single samples fall most.
    """
    count = rays.shape[1]
    low, high = max(window[0], half + 1), min(window[1], count - half - 1)
    for ray in range(rays.shape[0]):
        best = 0.0
        for s in range(low, high):
            best = max(best, rays[ray, s - half] - rays[ray, s + half])
        out[ray] = np.nan
        needed = max(least_fall, share_of_best * min(best, most_needed))
        for s in range(low, high):
            fall = rays[ray, s - half] - rays[ray, s + half]
            if fall < needed:
                continue
            before = rays[ray, s - 1 - half] - rays[ray, s - 1 + half]
            after = rays[ray, s + 1 - half] - rays[ray, s + 1 + half]
            if fall < before or fall <= after:
                continue
            steepest, at = -1.0, s
            for t in range(max(1, s - half), min(count - 1, s + half + 1)):
                slope = rays[ray, t - 1] - rays[ray, t + 1]
                if slope > steepest:
                    steepest, at = slope, t
            out[ray] = at
            if 2 <= at < count - 2:  # noqa: PLR2004 (neighbors of neighbors)
                left = rays[ray, at - 2] - rays[ray, at]
                right = rays[ray, at] - rays[ray, at + 2]
                bend = left - 2 * steepest + right
                if bend < 0:
                    out[ray] = at + min(max(0.5 * (left - right) / bend, -1.0), 1.0)
            break


def sphere_through(points: Floats, weights: Floats) -> tuple[Floats, float]:
    """Weighted algebraic sphere: center and radius.

    Examples
    --------
    >>> from hipwright.engines.imaging.ray_samples import even_directions
    >>> points = 3.0 + 20.0 * even_directions(50)
    >>> center, radius = sphere_through(points, np.ones(50))
    >>> [round(float(x), 6) for x in (*center, radius)]
    [3.0, 3.0, 3.0, 20.0]
    """
    middle = np.average(points, axis=0, weights=weights)
    local = points - middle
    root = np.sqrt(weights)[:, None]
    system = np.column_stack([2 * local, np.ones(len(local))]) * root
    right = (local**2).sum(axis=1) * root[:, 0]
    solution = np.asarray(np.linalg.lstsq(system, right, rcond=None)[0], dtype=np.float64)
    center = solution[:3]
    radius = float(np.sqrt(max(float(solution[3] + center @ center), 1e-9)))
    return middle + center, radius


def fit_head(
    values: Voxels, step_mm: Floats, center: Floats, radius_mm: float, *, step_hu: float
) -> HeadSphere | None:
    """Fit a head from several starts, smaller ones too: a tight socket is a sphere as well.

    Parameters
    ----------
    values, step_mm
        Upright voxels and their spacing along x, y, z.
    center, radius_mm
        Where to start, upright mm.
    step_hu
        From soft tissue to cortex.

    Returns
    -------
    HeadSphere or None
        The fit with the best score; ``None`` where too few rays meet an edge.
    """
    starts = [(center, radius_mm + change) for change in STARTS_MM]
    starts += [(center + np.array([0.0, 0.0, -low]), radius_mm - low) for low in LOWER_STARTS_MM]
    fits = [fit_from(values, step_mm, c, r, step_hu=step_hu) for c, r in starts]
    return max((f for f in fits if f is not None), key=lambda f: f.score, default=None)


def fit_from(
    values: Voxels,
    step_mm: Floats,
    center: Floats,
    radius_mm: float,
    *,
    step_hu: float,
    trusted: Flags | None = None,
) -> HeadSphere | None:
    """Fit a sphere to the first edges around a center, casting rays anew from each better one.

    Parameters
    ----------
    values, step_mm
        Upright voxels and their spacing along x, y, z.
    center, radius_mm
        Where to start, upright mm.
    step_hu
        From soft tissue to cortex.
    trusted
        Directions (of the even ones) that may take part; all by default.

    Returns
    -------
    HeadSphere or None
        ``None`` where too few rays meet an edge.
    """
    directions = even_directions(RAYS)
    use = np.ones(RAYS, bool) if trusted is None else trusted
    samples = int((REACH_MM - FIRST_MM) / PACE_MM)
    half = round(EDGE_HALF_MM / PACE_MM)
    edges = np.empty(RAYS)
    found: HeadSphere | None = None
    start = center
    for turn in range(ROUNDS):
        rays = rays_from(
            values,
            step_mm,
            center,
            directions,
            first_mm=FIRST_MM,
            pace_mm=PACE_MM,
            samples=samples,
        )
        inward, outward = (
            int((radius_mm + reach - FIRST_MM) / PACE_MM) for reach in (-INWARD_MM, OUTWARD_MM)
        )
        first_falls(
            rays,
            half,
            (inward, outward),
            EDGE_OF_BEST,
            MOST_NEEDED * step_hu,
            LEAST_EDGE * step_hu,
            edges,
        )
        edge_mm = FIRST_MM + PACE_MM * edges
        seen = np.isfinite(edge_mm) & use
        if seen.sum() < _LEAST_RAYS:
            return None
        points = center + edge_mm[seen, None] * directions[seen]
        window = _WIDE_MM + (_NARROW_MM - _WIDE_MM) * min(1.0, turn / (ROUNDS - 2))
        new_center, new_radius = center, radius_mm
        for _ in range(4):
            off = np.linalg.norm(points - new_center, axis=1) - new_radius
            weights = np.clip(1 - (off / window) ** 2, 0, None) ** 2
            if (weights > 0).sum() < _LEAST_RAYS:
                return None
            new_center, new_radius = sphere_through(points, weights)
        if float(np.linalg.norm(new_center - start)) > 0.8 * new_radius:
            return None
        center, radius_mm = new_center, new_radius
        off = np.linalg.norm(points - center, axis=1) - radius_mm
        near = np.abs(off) < NEAR_MM
        rms = float(np.sqrt((off[near] ** 2).mean())) if near.any() else NEAR_MM
        found = HeadSphere(
            center=center,
            radius_mm=radius_mm,
            rms_mm=rms,
            inlier_share=float(near.sum()) / max(int(use.sum()), 1),
            edge_mm=edge_mm.copy(),
        )
    return found
