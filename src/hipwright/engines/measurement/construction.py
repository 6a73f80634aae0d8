"""A construction: the array kernel of one catalog entry, and its public face.

A kernel takes the entry's landmarks in the catalog's order as arrays in the
canonical hip plane (u lateral, v superior): a point is (..., 2), a circle a
:class:`Circles`, a contour (..., m, 2). It returns the value in the entry's
unit, NaN where the landmarks cannot carry it. Called as a function, a
construction takes :class:`FilmPoint`, :class:`FilmCircle` and
:class:`FilmContour`, checks that they share one frame, and gives an
:class:`Angle`, a :class:`Length` or a bare ratio.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import load
from hipwright.catalog.entries import MeasurementDefinition
from hipwright.domain.errors import CatalogError, DegenerateGeometryError
from hipwright.domain.frames import FilmCircle, FilmContour, FilmPoint, require_one_frame
from hipwright.domain.measurement import Unit
from hipwright.domain.quantities import Angle, Length

Floats = NDArray[np.float64]
Placed = FilmPoint | FilmCircle | FilmContour


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Circles:
    """Circles as arrays: ``center`` (..., 2) and ``radius`` (...)."""

    center: Floats
    radius: Floats


Input = Floats | Circles
Kernel = Callable[..., Floats]

_REGISTRY: dict[str, Construction] = {}


@dataclass(frozen=True, slots=True, eq=False)
class Construction:
    """The one construction of a catalog entry."""

    id: str
    kernel: Kernel

    @property
    def doc(self) -> str:
        """What the kernel says of itself."""
        return self.kernel.__doc__ or ""

    @property
    def definition(self) -> MeasurementDefinition:
        """The catalog entry it is bound to."""
        return load().measurement(self.id)

    def __call__(self, *placed: Placed) -> Angle | Length | float:
        """Measure placed landmarks.

        Raises
        ------
        FrameMismatchError
            They are not all in the frame of one and the same hip.
        DegenerateGeometryError
            They cannot carry the construction.
        """
        definition = self.definition
        require_one_frame(*(item.frame for item in placed))
        value = float(self.evaluate(*(as_array(item) for item in placed))[()])
        if not np.isfinite(value):
            raise DegenerateGeometryError(
                f"cannot measure the {definition.name}",
                found=definition.undefined_when,
                needed="landmarks that can carry the construction",
                next_step="Check for swapped landmarks or an inverted picture.",
            )
        return in_unit(value, definition.unit)

    def evaluate(
        self, *inputs: Input, parameters: Mapping[str, Floats | float] | None = None
    ) -> Floats:
        """Run the kernel, NaN where undefined; by default with the catalog's own parameters."""
        chosen = self.definition.parameters if parameters is None else parameters
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(self.kernel(*inputs, **chosen))


def as_array(item: Placed) -> Input:
    """A placed landmark as its kernel input."""
    match item:
        case FilmPoint():
            return np.array([item.x, item.y])
        case FilmCircle():
            return Circles(
                center=np.array([item.center.x, item.center.y]), radius=np.array(item.radius)
            )
        case FilmContour():
            return np.array([[point.x, point.y] for point in item.points])


def in_unit(value: float, unit: Unit) -> Angle | Length | float:
    """A value in its entry's unit as a quantity."""
    match unit:
        case Unit.DEGREE:
            return Angle.from_degrees(value)
        case Unit.MILLIMETER:
            return Length.from_mm(value)
        case _:
            return value


def measures(first: str, *others: str) -> Callable[[Kernel], Construction]:
    """Bind a kernel to its catalog id.

    Several ids share a kernel where they differ in a catalog parameter or in which
    landmark is handed in; the name in the module is then the first one's construction.
    """

    def bind(kernel: Kernel) -> Construction:
        bound = [Construction(entry, kernel) for entry in (first, *others)]
        for construction in bound:
            if construction.id in _REGISTRY:
                raise CatalogError(f"cannot bind {construction.id}: it already has a construction")
            _REGISTRY[construction.id] = construction
        return bound[0]

    return bind


def constructions() -> Mapping[str, Construction]:
    """All constructions by catalog id."""
    return MappingProxyType(_REGISTRY)


def each() -> Iterator[Construction]:
    """All constructions, in the order they were bound."""
    yield from _REGISTRY.values()
