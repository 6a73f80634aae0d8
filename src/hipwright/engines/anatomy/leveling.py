"""The pelvic baseline: what counts as horizontal on a film."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WORTH_SAYING_DEG = 1.0
"""Two baselines that differ by more are both shown (reference section 0.1, judgment)."""


class Baseline(Enum):
    """The line that is made horizontal, best first."""

    HEAD_CENTERS = "line of the head centers"
    TEARDROPS = "line of the lower ends of the teardrops"
    PICTURE = "lower edge of the picture"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Leveling:
    """A chosen baseline and its rise to the right of the picture.

    ``roll_rad`` has shape (n,), one value a draw, the first the placed one;
    ``other_deg`` is how much steeper the other possible baseline is.
    """

    baseline: Baseline
    roll_rad: Floats
    other_deg: float | None = None

    def in_words(self) -> str:
        """Name the baseline, with the difference to the other where it is worth saying."""
        words = self.baseline.value
        if self.other_deg is not None and abs(self.other_deg) > WORTH_SAYING_DEG:
            words += f"; the {Baseline.TEARDROPS.value} differs by {self.other_deg:+.1f}°"
        return words


def level(
    heads: tuple[Floats, Floats] | None, teardrops: tuple[Floats, Floats] | None, draws: int
) -> Leveling:
    """Choose the baseline and compute its roll.

    Parameters
    ----------
    heads, teardrops
        The two head centers and the two lower teardrop ends in the film plane
        (x right, y up), each of shape (n, 2), in any order; ``None`` where one is
        not placed.
    draws
        n, for a film on which no baseline can be drawn.

    Returns
    -------
    Leveling
        By the head centers if there are two, else by the teardrops, else by the
        picture itself.
    """
    if heads is not None:
        roll = rise_rad(*heads)
        other = None if teardrops is None else float(np.degrees(rise_rad(*teardrops)[0] - roll[0]))
        return Leveling(baseline=Baseline.HEAD_CENTERS, roll_rad=roll, other_deg=other)
    if teardrops is not None:
        return Leveling(baseline=Baseline.TEARDROPS, roll_rad=rise_rad(*teardrops))
    return Leveling(baseline=Baseline.PICTURE, roll_rad=np.zeros(draws))


def rise_rad(first: Floats, second: Floats) -> Floats:
    """Rise, toward the right of the picture, of the line through two points, shape (...,)."""
    run = second - first
    run = np.where(run[..., :1] < 0, -run, run)
    return np.arctan2(run[..., 1], run[..., 0])
