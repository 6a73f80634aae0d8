"""Which measurements a short summary tells, and in which order."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files


@cache
def headlines() -> tuple[str, ...]:
    """Ids of the measurements that a summary tells, most telling first."""
    text = (files("hipwright.catalog") / "headlines.toml").read_text("utf-8")
    return tuple(tomllib.loads(text)["headlines"])
