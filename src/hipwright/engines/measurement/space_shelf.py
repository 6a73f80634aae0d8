"""Every construction in space, by catalog id. Importing this module binds them all."""

from __future__ import annotations

from types import ModuleType

from hipwright.engines.measurement.space_construction import space_constructions

BOUND: tuple[ModuleType, ...] = ()
"""The modules whose constructions are bound."""

SPACE_CONSTRUCTIONS = space_constructions()
