"""The case that an address names, from the room that all screens share."""

from __future__ import annotations

from hipwright.apps.web.named_case import Named

__all__ = ["Named"]
