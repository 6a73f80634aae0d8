"""Maps that can be painted on the bones, with legends in words and numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.apps.web.bones.at_hand import BoneMap
from hipwright.engines.reporting.numbers import written

Json = dict[str, Any]
Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapWords:
    """What a map is called and what its ends mean; ``{0}`` stands for the extreme value.

    ``span`` bounds what the ramp shows, so that a few stray places do not flatten it;
    ``step`` is the precision of the numbers. A map that ``is_yes_or_no`` has no numbers.
    """

    id: str
    name: str
    unit: str
    low: str
    high: str
    about: str
    span: tuple[float, float] = (-math.inf, math.inf)
    step: float = 0.1
    is_yes_or_no: bool = False


MAPS = (
    MapWords(
        id="residual",
        name="Head against its sphere",
        unit="mm",
        low="bone inside the sphere, down to {0}",
        high="bone outside the sphere, up to {0}",
        about="How far the surface of the head and neck lies from the sphere of the head.",
        span=(-2.0, 4.0),
    ),
    MapWords(
        id="joint_space",
        name="Joint space",
        unit="mm",
        low="narrowest, {0}",
        high="widest, {0}",
        about="The smallest distance from the socket's surface to the head.",
        span=(0.0, 8.0),
    ),
    MapWords(
        id="coverage",
        name="Coverage of the head",
        unit="",
        low="beyond the rim: not covered",
        high="within the rim: covered",
        about="Which places of the head lie within the rim, seen from the head's center.",
        span=(0.0, 1.0),
        step=1.0,
        is_yes_or_no=True,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PaintedRange:
    """The values at the ends of the ramp."""

    low: float
    high: float


def range_of(shown: BoneMap, words: MapWords) -> PaintedRange | None:
    """Ends of the ramp, one for all pieces of the map; ``None`` where nothing is known."""
    every = _known(shown)
    if not every.size:
        return None
    low, high = (float(x) for x in np.percentile(every, (0.5, 99.5)))
    if words.is_yes_or_no:
        return PaintedRange(low=words.span[0], high=words.span[1])
    low, high = max(low, words.span[0]), min(high, words.span[1])
    low = math.floor(low / words.step) * words.step
    high = math.ceil(high / words.step) * words.step
    return PaintedRange(low=low, high=max(high, low + words.step))


def _known(shown: BoneMap) -> Floats:
    parts = [values[np.isfinite(values)] for values in shown.values.values()]
    return np.concatenate(parts) if parts else np.empty(0)


def legend_of(shown: BoneMap, words: MapWords) -> Json | None:
    """The legend: name, ends in words, numbers along the ramp."""
    ends = range_of(shown, words)
    if ends is None:
        return None
    every = _known(shown)

    def told(value: float) -> str:
        return f"{written(value, words.step)} {words.unit}"

    return {
        "id": words.id,
        "name": words.name,
        "about": words.about,
        "low": words.low.format(told(every.min())),
        "high": words.high.format(told(every.max())),
        "ticks": []
        if words.is_yes_or_no
        else [
            {"share": n / 4, "text": told(ends.low + n / 4 * (ends.high - ends.low))}
            for n in range(5)
        ],
    }
