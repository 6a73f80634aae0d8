"""Every construction, by catalog id. Importing this module binds them all."""

from __future__ import annotations

from hipwright.engines.measurement import alpha, center_edge, coverage, femur, roof
from hipwright.engines.measurement.construction import constructions

BOUND = (alpha, center_edge, coverage, femur, roof)
"""The modules whose constructions are bound."""

CONSTRUCTIONS = constructions()
