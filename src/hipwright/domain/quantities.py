"""Angles and lengths: one number, one unit.

An :class:`Angle` is kept in degrees, so that what was typed is what is
compared; a :class:`Length` in millimeters. Neither turns into a bare number
by accident.

Examples
--------
>>> from hipwright.domain.quantities import Angle, Length
>>> print(Angle.from_degrees(25.0))
25.0°
>>> print(Length.from_mm(4.19))
4.2 mm
>>> Angle.from_degrees(25.0) > Angle.from_degrees(20.0)
True
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NoReturn

from hipwright.domain.errors import UnitError


def _checked(value: float, unit: str) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise UnitError(
            f"cannot make a quantity in {unit}",
            found=f"{value!r}",
            needed="a finite number",
            next_step="A value that cannot be measured is NotMeasured with its reason.",
        )
    return number


@dataclass(frozen=True, slots=True, order=True)
class Angle:
    """A plane angle, kept in degrees."""

    degrees: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "degrees", _checked(self.degrees, "degrees"))

    @classmethod
    def from_degrees(cls, degrees: float) -> Angle:
        """Make an angle from degrees."""
        return cls(degrees)

    @classmethod
    def from_radians(cls, radians: float) -> Angle:
        """Make an angle from radians."""
        return cls(math.degrees(radians))

    @property
    def radians(self) -> float:
        """The angle in radians."""
        return math.radians(self.degrees)

    def __float__(self) -> NoReturn:
        raise UnitError(
            "cannot turn an Angle into a number",
            needed="a unit",
            next_step="Ask for .degrees or .radians.",
        )

    def __str__(self) -> str:
        return f"{self.degrees:.1f}°"


@dataclass(frozen=True, slots=True, order=True)
class Length:
    """A length, kept in millimeters."""

    mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "mm", _checked(self.mm, "mm"))

    @classmethod
    def from_mm(cls, mm: float) -> Length:
        """Make a length from millimeters."""
        return cls(mm)

    def __float__(self) -> NoReturn:
        raise UnitError(
            "cannot turn a Length into a number",
            needed="a unit",
            next_step="Ask for .mm.",
        )

    def __str__(self) -> str:
        return f"{self.mm:.1f} mm"
