"""Every construction, by catalog id. Importing this module binds them all."""

from __future__ import annotations

from hipwright.engines.measurement import (
    alpha,
    center_edge,
    coverage,
    femur,
    film_position,
    joint_space,
    medial_wall,
    offset,
    roof,
    shenton,
    version_signs,
)
from hipwright.engines.measurement.construction import constructions

BOUND = (
    alpha,
    center_edge,
    coverage,
    femur,
    film_position,
    joint_space,
    medial_wall,
    offset,
    roof,
    shenton,
    version_signs,
)
"""The modules whose constructions are bound."""

CONSTRUCTIONS = constructions()
