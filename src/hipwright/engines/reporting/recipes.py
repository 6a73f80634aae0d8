"""All drawings of constructions, by catalog id."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from hipwright.engines.reporting.drawings import STRAIGHT, Recipe
from hipwright.engines.reporting.outline_drawings import OUTLINED

RECIPES: Mapping[str, Recipe] = MappingProxyType({**STRAIGHT, **OUTLINED})
"""Constructions with a drawing of their own; all others show the landmarks they use."""
