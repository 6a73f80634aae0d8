"""The Slices screen: three linked views of a series, its labels, planes around the neck."""

from __future__ import annotations

from fastapi import APIRouter

from hipwright.apps.web.slices import cutting, editing, findings, making, routes

router = APIRouter()
"""All addresses of the Slices screen."""

for part in (cutting, editing, findings, making, routes):
    router.include_router(part.router)

__all__ = ["router"]
