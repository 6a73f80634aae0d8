"""What a bone's edge looks like along a line: gray values of a blurred layered wall.

From inside out: spongy bone, a cortex of thickness ``t`` that ends at ``x0``, soft tissue;
where another bone is near, a gap of width ``g`` and that bone's cortex. The levels of the
three materials are linear and have a prior each, so every wall of a grid of (x0, t, g) is
judged by three products of its template with the profile.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]

_TAIL = 2.5  # a sharp kernel's dip is that much wider than its edge
_OTHER_CORTEX_MM = 1.2  # of the bone beyond a gap; what lies behind it hardly counts
_SOFT_SD_HU, _GAP_SD_HU = 70.0, 40.0
_SPONGY_SHARE, _SPONGY_SD_SHARE = 0.2, 0.3  # of the cortex
_CORTEX_SD_SHARE = 0.08
_MISFIT_SHARE = 0.035  # of the step from soft to cortex: what no layered wall explains
_NEIGHBORS_AGREE = 2.5  # samples of one profile share their noise with about as many others


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeLevels:
    """Gray levels and blur of one bone's edge, HU and mm."""

    soft_hu: float
    cortex_hu: float
    noise_hu: float
    blur_mm: float
    slice_blur_mm: float
    overshoot: float = 0.0

    @property
    def step_hu(self) -> float:
        """From soft tissue to cortex."""
        return self.cortex_hu - self.soft_hu

    @property
    def sd_hu(self) -> float:
        """How far a sample lies from the right wall, noise and misfit together."""
        return float(np.hypot(self.noise_hu, _MISFIT_SHARE * self.step_hu))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Walls:
    """A grid of walls, ready to be compared with profiles.

    Attributes
    ----------
    x0_mm, t_mm, g_mm
        Of every wall, (w,): g is infinite where no other bone stands.
    projection
        (k + 1, 3 w) float32: a profile, followed by 1, times this gives three numbers for
        each wall; the sum of their squares plus ``offset`` is how well the wall explains
        the profile (twice the logarithm of its probability, up to a constant).
    offset
        (w,) float32.
    occam
        The part of the offset that counts how much freedom a wall has, (w,) float32.
    weight
        Weight of each sample, (k,): 1 / HU².
    """

    x0_mm: Floats
    t_mm: Floats
    g_mm: Floats
    projection: NDArray[np.float32] = field(repr=False)
    offset: NDArray[np.float32] = field(repr=False)
    occam: NDArray[np.float32] = field(repr=False)
    weight: Floats


def beyond(u: Floats, sigma: float, overshoot: float) -> Floats:
    """Share of what lies at x < 0 that is seen at ``u``: a blurred step down."""
    plain = ndtr(-u / sigma)
    if overshoot == 0.0:
        return plain
    return plain + overshoot * (plain - ndtr(-u / (_TAIL * sigma)))


def blur_across(levels: EdgeLevels, across: float) -> tuple[float, float]:
    """Blur and overshoot along a direction with that square of cosine to the slices' normal."""
    square = (1 - across) * levels.blur_mm**2 + across * levels.slice_blur_mm**2
    return float(np.sqrt(square)), levels.overshoot * (1 - across)


def walls(
    at_mm: Floats,
    levels: EdgeLevels,
    across: float,
    *,
    x0_mm: Floats,
    t_mm: Floats,
    g_mm: Floats,
) -> Walls:
    """Make all walls of a grid.

    Parameters
    ----------
    at_mm
        Where profiles are read, outward positive, (k,).
    levels
        Gray levels and blur.
    across
        Square of the cosine between the profiles and the slices' normal.
    x0_mm, t_mm, g_mm
        Places of the edge, thicknesses of cortex, widths of the gap to another bone
        (infinite: none).
    """
    grid = np.meshgrid(g_mm, t_mm, x0_mm, indexing="ij")
    g, t, x0 = (axis.ravel() for axis in grid)
    basis = _basis(at_mm, levels, across, x0, t, g)
    weight = _window(at_mm) / (levels.sd_hu**2 * _NEIGHBORS_AGREE)
    mean, precision = _prior(levels, g)
    gram: Floats = np.einsum("wik,wjk,k->wij", basis, basis, weight)
    gram[:, range(3), range(3)] += precision
    inverse = np.linalg.inv(gram).astype(np.float64)
    lower = np.linalg.cholesky(inverse).astype(np.float64)
    by_sample = np.einsum("wji,wjk,k->kwi", lower, basis, weight)
    by_one = np.einsum("wji,wj->wi", lower, precision * mean)
    projection = np.concatenate([by_sample, by_one[None]]).reshape(len(at_mm) + 1, -1)
    occam = np.log(precision).sum(axis=1) - np.linalg.slogdet(gram)[1]
    offset = occam - (precision * mean**2).sum(axis=1)
    return Walls(
        x0_mm=x0,
        t_mm=t,
        g_mm=g,
        projection=projection.astype(np.float32),
        offset=offset.astype(np.float32),
        occam=occam.astype(np.float32),
        weight=weight,
    )


def _basis(
    at: Floats, levels: EdgeLevels, across: float, x0: Floats, t: Floats, g: Floats
) -> Floats:
    """Shares of soft tissue, cortex and spongy bone in each sample of each wall, (w, 3, k)."""
    sigma, overshoot = blur_across(levels, across)

    def within(edge: Floats) -> Floats:
        return beyond(at[None] - edge[:, None], sigma, overshoot)

    far = np.where(np.isfinite(g), x0 + g, 1e3)
    inner, outer = within(x0 - t), within(x0)
    other, behind = within(far), within(far + _OTHER_CORTEX_MM)
    return np.stack(
        [other - outer, (outer - inner) + (behind - other), inner + (1.0 - behind)], axis=1
    )


def _window(at: Floats) -> Floats:
    """Samples far from where the edge is expected tell of other things."""
    away = np.maximum(np.abs(at) - 1.6, 0.0)
    return np.exp(-0.5 * (away / 1.2) ** 2)


def _prior(levels: EdgeLevels, g: Floats) -> tuple[Floats, Floats]:
    """Mean and precision of the levels of soft tissue, cortex and spongy bone, (w, 3)."""
    step = levels.step_hu
    mean = [levels.soft_hu, levels.cortex_hu, levels.soft_hu + _SPONGY_SHARE * step]
    soft = np.where(np.isfinite(g), _GAP_SD_HU, _SOFT_SD_HU)
    cortex = np.full(len(g), _CORTEX_SD_SHARE * step)
    spongy = np.full(len(g), _SPONGY_SD_SHARE * step)
    return np.tile(mean, (len(g), 1)), np.stack([soft, cortex, spongy], axis=1) ** -2.0
