"""The Bones screen: bone models of one person in space, what they measure, and where from."""

from __future__ import annotations

from fastapi import APIRouter

from hipwright.apps.web.bones import beside_film, files, jobs, keeping, parts, routes

router = APIRouter()
"""All addresses of the Bones screen."""

for room in (beside_film, files, jobs, keeping, parts, routes):
    router.include_router(room.router)

__all__ = ["router"]
