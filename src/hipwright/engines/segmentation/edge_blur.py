"""How much one scan blurs an edge and how bright its cortex is, from the scan itself.

Cortex is read in the middle of thick walls; blur in the slice and overshoot of the kernel
are those with which the walls explain the profiles best. Profiles in the plane of the slice
are used, of the femora first, whose shafts have a cortex so thick that its blur cannot be
mistaken for its thickness.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.segmentation.edge_fit import BLURRED, explained, fit_edges
from hipwright.engines.segmentation.edge_model import EdgeLevels

Floats = NDArray[np.float64]

_THICK_MM = 1.8  # no less is thick, however sharp the scan
_THICK_BLURS, _THICK_ENOUGH = 3.4, 60  # walls whose middle no blur reaches; how many are needed
_BRIGHTEST = 95.0  # percentile of the profiles' brightest places: no less is cortex
_BLURS_MM = np.array([0.3, 0.4, 0.5, 0.6, 0.7, 0.85, 1.0])
_OVERSHOOTS = np.array([0.0, 0.15, 0.3, 0.5, 0.75, 1.0])
_ROUNDS = 2
_CAP = 60.0  # how little one profile may be explained before it is taken as none of ours
AT_MM = np.arange(-3.0, 3.01, 0.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelsSeen:
    """Levels as the scan shows them, and how they may err.

    ``bias_sd_mm`` tells how far the edges of the whole bone move, one standard deviation,
    when blur, overshoot and cortex are as wrong as they may be.
    """

    levels: EdgeLevels
    bias_sd_mm: float


def levels_seen(profiles: NDArray[np.float32], across: Floats, told: EdgeLevels) -> LevelsSeen:
    """Find the levels that explain profiles best.

    Parameters
    ----------
    profiles
        (n, k) HU at :data:`AT_MM` along outward normals in the plane of the slices, away
        from other bones.
    across
        Square of the cosine between each normal and the slices' normal, (n,).
    told
        Levels to start from.
    """
    levels, is_read = told, False
    for _ in range(_ROUNDS):
        cortex, is_read = _plateau_hu(profiles, across, levels)
        levels = replace(levels, cortex_hu=cortex)
        levels = _best(profiles, across, levels, "blur_mm", _BLURS_MM)
        levels = _best(profiles, across, levels, "overshoot", _OVERSHOOTS)
    return LevelsSeen(levels=levels, bias_sd_mm=_bias(profiles, across, levels, is_read=is_read))


def _plateau_hu(
    profiles: NDArray[np.float32], across: Floats, levels: EdgeLevels
) -> tuple[float, bool]:
    """Median gray value in the middle of thick walls, and whether there were enough of them.

    Otherwise the told one, or the brightest places where these are brighter.
    """
    even = (profiles[:, :-2] + profiles[:, 1:-1] + profiles[:, 2:]) / 3
    brightest = float(np.percentile(even.max(axis=1), _BRIGHTEST))
    bright = replace(levels, cortex_hu=max(levels.cortex_hu, brightest))
    far = np.full(len(profiles), np.inf)
    fit = fit_edges(profiles, AT_MM, bright, across, far, far, BLURRED)
    least = max(_THICK_BLURS * levels.blur_mm, _THICK_MM)
    thick = np.flatnonzero(fit.t_mm > least)
    if len(thick) < _THICK_ENOUGH:
        return bright.cortex_hu, False
    middle = np.minimum(fit.t_mm[thick] / 2, least)
    at = np.abs(AT_MM - (fit.x0_mm[thick] - middle)[:, None]).argmin(axis=1)
    return float(np.median(profiles[thick, at])), True


def _best(
    profiles: NDArray[np.float32], across: Floats, levels: EdgeLevels, name: str, values: Floats
) -> EdgeLevels:
    """The levels with that one of them changed to what explains best, between the values."""
    scores = np.array(
        [_score(profiles, across, replace(levels, **{name: float(value)})) for value in values]
    )
    at = int(np.clip(scores.argmax(), 1, len(values) - 2))
    bend = np.polyfit(values[at - 1 : at + 2], scores[at - 1 : at + 2], 2)
    best = float(values[scores.argmax()])
    if bend[0] < 0:
        best = float(np.clip(-bend[1] / (2 * bend[0]), values[at - 1], values[at + 1]))
    return replace(levels, **{name: best})


def _score(profiles: NDArray[np.float32], across: Floats, levels: EdgeLevels) -> float:
    return float(np.maximum(explained(profiles, AT_MM, levels, across, BLURRED), -_CAP).sum())


_CORTEX_DOUBT, _CORTEX_DOUBT_UNREAD = 0.10, 0.25
_BLUR_DOUBT, _SLICE_BLUR_DOUBT = 0.10, 0.20
_OVERSHOOT_DOUBT = 0.12
_OTHER_DOUBT_MM = 0.03  # of the layered wall itself


def _bias(
    profiles: NDArray[np.float32], across: Floats, levels: EdgeLevels, *, is_read: bool
) -> float:
    """How far edges move together when levels are as wrong as they may be, mm.

    Cortex that no thick wall showed may be much brighter than it seems.
    """

    def edges(changed: EdgeLevels) -> Floats:
        far = np.full(len(profiles), np.inf)
        return fit_edges(profiles, AT_MM, changed, across, far, far, BLURRED).x0_mm

    plain = edges(levels)
    brighter = 1 + (_CORTEX_DOUBT if is_read else _CORTEX_DOUBT_UNREAD)
    both = [
        replace(levels, cortex_hu=levels.soft_hu + levels.step_hu * share)
        for share in (brighter, 1 / brighter)
    ]
    changed = (
        replace(levels, blur_mm=levels.blur_mm * (1 + _BLUR_DOUBT)),
        replace(levels, slice_blur_mm=levels.slice_blur_mm * (1 + _SLICE_BLUR_DOUBT)),
        replace(levels, overshoot=levels.overshoot + _OVERSHOOT_DOUBT),
    )
    by_cortex = max(abs(float(np.median(edges(one) - plain))) for one in both)
    moved = [float(np.median(edges(one) - plain)) for one in changed]
    return float(np.linalg.norm([by_cortex, *moved, _OTHER_DOUBT_MM]))
