"""Where the marks of a Bland and Altman plot lie; the template draws them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hipwright.domain.evidence import Estimate
from hipwright.engines.reporting.numbers import written

if TYPE_CHECKING:
    from hipwright.workflows.compare_readers import ReadersCompared  # brings slow statistics

WIDTH, HEIGHT = 640.0, 360.0
LEFT, RIGHT, TOP, BOTTOM = 64.0, 150.0, 16.0, 48.0
MARGIN = 0.08
TICKS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A place on an axis and its number."""

    at: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A level across the plot with its interval and its words."""

    at: float
    low: float
    high: float
    words: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """One hip: mean of the two readings, second less first."""

    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """Everything that is drawn, in the units of a 640 × 360 picture."""

    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    lines: tuple[Line, ...]
    dots: tuple[Dot, ...]
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    bottom: float = HEIGHT - BOTTOM


def plot_of(compared: ReadersCompared) -> Plot | None:
    """Lay the plot out; nothing where there are too few pairs for limits."""
    found = compared.differences
    if found is None:
        return None
    first, second = compared.values[:, 0], compared.values[:, 1]
    means, gaps = (first + second) / 2, second - first
    levels = [found.lower.low, found.upper.high, 0.0, float(gaps.min()), float(gaps.max())]
    x_axis = _Axis.around(float(means.min()), float(means.max()), LEFT, WIDTH - RIGHT)
    y_axis = _Axis.around(min(levels), max(levels), HEIGHT - BOTTOM, TOP)
    unit = compared.unit.label

    def line(estimate: Estimate, words: str, kind: str) -> Line:
        value, low, high = estimate.value, estimate.low, estimate.high
        told = f"{words} {written(value, compared.reported_to)}{unit}"
        return Line(
            at=y_axis.place(value),
            low=y_axis.place(low),
            high=y_axis.place(high),
            words=told,
            kind=kind,
        )

    return Plot(
        across=x_axis.ticks(),
        up=y_axis.ticks(),
        lines=(
            line(found.upper, "upper limit", "limit"),
            line(found.bias, "mean", "mean"),
            line(found.lower, "lower limit", "limit"),
        ),
        dots=tuple(
            Dot(x=x_axis.place(float(x)), y=y_axis.place(float(y)))
            for x, y in zip(means, gaps, strict=True)
        ),
    )


@dataclass(frozen=True, slots=True)
class _Axis:
    low: float
    high: float
    start: float
    end: float

    @classmethod
    def around(cls, low: float, high: float, start: float, end: float) -> _Axis:
        pad = MARGIN * (high - low) or 1.0
        return cls(low - pad, high + pad, start, end)

    def place(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)

    def ticks(self) -> tuple[Tick, ...]:
        step = _round_step((self.high - self.low) / TICKS)
        first = math.ceil(self.low / step)
        last = math.floor(self.high / step)
        return tuple(
            Tick(at=self.place(number * step), words=written(number * step, step))
            for number in range(first, last + 1)
        )


def _round_step(wanted: float) -> float:
    """The next of 1, 2 and 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= wanted * 0.999)
