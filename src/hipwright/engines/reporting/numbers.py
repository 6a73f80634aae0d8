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
    """``28.1°``, ``4.2 mm``, ``18.8 %``; a place on the clock as time, ``1:30``."""
    if found.unit is Unit.CLOCK_HOUR:
        return _hour_to(found.value, found.reported_to)
    return written(found.value, found.reported_to) + found.unit.label


def interval_in_words(found: Measurement) -> str:
    """``23.3 to 32.7``, without the unit; on the clock ``11:30 to 12:48``."""
    e, step = found.estimate, found.reported_to
    if found.unit is Unit.CLOCK_HOUR:
        return f"{_hour_to(e.low, step)} to {_hour_to(e.high, step)}"
    return f"{written(e.low, step)} to {written(e.high, step)}"


def hour_in_words(hour: float | None) -> str:
    """A clock hour as time: ``1:30``.

    Examples
    --------
    >>> hour_in_words(1.5)
    '1:30'
    >>> hour_in_words(12.0)
    '12:00'
    """
    whole, minutes = divmod(round((hour or 0.0) * 60), 60)
    return f"{(whole - 1) % 12 + 1}:{minutes:02d}"


def time_in_words(hours: float) -> str:
    """A length of time, as far apart as two places on the clock are.

    Examples
    --------
    >>> time_in_words(-0.5)
    '−0:30'
    """
    whole, minutes = divmod(abs(round(hours * 60)), 60)
    return f"{MINUS if round(hours * 60) < 0 else ''}{whole}:{minutes:02d}"


def _hour_to(hour: float, reported_to: float) -> str:
    return hour_in_words(round(hour / reported_to) * reported_to)


def spoken_unit(unit: Unit) -> str:
    """The unit as read aloud, for alternative texts."""
    return _SPOKEN[unit]


_SPOKEN = {
    Unit.DEGREE: "degrees",
    Unit.MILLIMETER: "millimeters",
    Unit.PERCENT: "percent",
    Unit.ONE: "",
    Unit.PIXEL: "pixels",
    Unit.SQUARE_MILLIMETER: "square millimeters",
    Unit.CUBIC_MILLIMETER: "cubic millimeters",
    Unit.CLOCK_HOUR: "o\N{RIGHT SINGLE QUOTATION MARK}clock",
}
