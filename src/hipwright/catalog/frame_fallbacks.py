"""What stands in for a part of the femur that was not scanned, as data with its source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class Fallback:
    """An angle that is assumed where it cannot be measured."""

    value_deg: float
    sd_deg: float
    cite: str
    text: str


@cache
def frame_fallbacks() -> Mapping[str, Fallback]:
    """All assumed angles by name: ``version``, ``bow`` and others of the TOML file."""
    text = (files("hipwright.catalog") / "frame_fallbacks.toml").read_text("utf-8")
    return MappingProxyType({name: Fallback(**row) for name, row in tomllib.loads(text).items()})
