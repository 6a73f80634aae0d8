"""How numbers are written: one place, so screens and documents agree."""

from __future__ import annotations

import math

from hipwright.domain.measurement import Measurement, Unit

MINUS = "\N{MINUS SIGN}"


def written(value: float, reported_to: float) -> str:
    """A number to the precision it is reported to, with a real minus sign.

    Examples
    --------
    >>> written(-3.04, 0.1)
    '−3.0'
    >>> written(28.4, 1)
    '28'
    """
    decimals = max(0, math.ceil(-math.log10(reported_to) - 1e-9))
    text = f"{round(value / reported_to) * reported_to:.{decimals}f}"
    if text.startswith("-"):
        text = text[1:]
        return text if float(text) == 0 else MINUS + text
    return text


def value_with_unit(found: Measurement) -> str:
    """``28.1°``, ``4.2 mm``, ``18.8 %``."""
    return written(found.value, found.reported_to) + found.unit.label


def interval_in_words(found: Measurement) -> str:
    """``23.3 to 32.7``, without the unit."""
    e = found.estimate
    return f"{written(e.low, found.reported_to)} to {written(e.high, found.reported_to)}"


def spoken_unit(unit: Unit) -> str:
    """The unit as read aloud, for alternative texts."""
    return _SPOKEN[unit]


_SPOKEN = {
    Unit.DEGREE: "degrees",
    Unit.MILLIMETER: "millimeters",
    Unit.PERCENT: "percent",
    Unit.ONE: "",
    Unit.PIXEL: "pixels",
    Unit.CUBIC_MILLIMETER: "cubic millimeters",
    Unit.CLOCK_HOUR: "o\N{RIGHT SINGLE QUOTATION MARK}clock",
}
