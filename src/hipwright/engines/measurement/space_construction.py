"""A construction in space: the array kernel of one catalog entry that is measured on bones.

A kernel takes a :class:`HipInSpace` whose arrays may have leading axes and gives the
value in the entry's unit for each of them, NaN where the bones cannot carry it; a series
(an entry with clock hours) takes the keyword ``hours`` and gives one more, last axis. The
catalog's parameters come in by keyword.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import load
from hipwright.catalog.entries import MeasurementDefinition
from hipwright.domain.errors import CatalogError
from hipwright.engines.anatomy.hip_in_space import HipInSpace

Floats = NDArray[np.float64]
SpaceKernel = Callable[..., Floats]

_REGISTRY: dict[str, SpaceConstruction] = {}


@dataclass(frozen=True, slots=True, eq=False)
class SpaceConstruction:
    """The one construction of a catalog entry that is measured on bones."""

    id: str
    kernel: SpaceKernel

    @property
    def definition(self) -> MeasurementDefinition:
        """The catalog entry it is bound to."""
        return load().measurement(self.id)

    def __call__(self, hip: HipInSpace) -> Floats:
        """Measure a hip, or all draws of one, with the catalog's own parameters.

        Returns
        -------
        Values in the entry's unit, shape of the hip's leading axes, and (..., hours)
        for a series; NaN where the bones cannot carry the construction.
        """
        entry = self.definition
        named: dict[str, object] = dict(entry.parameters)
        if entry.hours:
            named["hours"] = np.array(entry.hours)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(self.kernel(hip, **named), dtype=np.float64)


def measures_in_space(first: str, *others: str) -> Callable[[SpaceKernel], SpaceConstruction]:
    """Bind a kernel to its catalog id; several ids share one where they differ in a parameter."""

    def bind(kernel: SpaceKernel) -> SpaceConstruction:
        bound = [SpaceConstruction(entry, kernel) for entry in (first, *others)]
        for construction in bound:
            if construction.id in _REGISTRY:
                raise CatalogError(f"cannot bind {construction.id}: it already has a construction")
            _REGISTRY[construction.id] = construction
        return bound[0]

    return bind


def space_constructions() -> Mapping[str, SpaceConstruction]:
    """All constructions in space by catalog id."""
    return MappingProxyType(_REGISTRY)
