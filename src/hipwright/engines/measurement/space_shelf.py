"""Every construction in space, by catalog id. Importing this module binds them all."""

from __future__ import annotations

from types import ModuleType

from hipwright.engines.measurement import space_acetabulum as _acetabulum
from hipwright.engines.measurement import space_acetabulum_coverage as _coverage
from hipwright.engines.measurement import space_alpha as _alpha
from hipwright.engines.measurement import space_femur_head as _femur_head
from hipwright.engines.measurement import space_femur_neck as _femur_neck
from hipwright.engines.measurement import space_joint as _joint
from hipwright.engines.measurement import space_version as _version
from hipwright.engines.measurement.space_construction import space_constructions

BOUND: tuple[ModuleType, ...] = (
    _acetabulum,
    _coverage,
    _alpha,
    _femur_head,
    _femur_neck,
    _joint,
    _version,
)
"""The modules whose constructions are bound."""

SPACE_CONSTRUCTIONS = space_constructions()
