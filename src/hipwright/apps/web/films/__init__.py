"""The Films screen: a picture, landmarks placed on it, and numbers that follow."""

from __future__ import annotations

from fastapi import APIRouter

from hipwright.apps.web.films import keeping, routes

router = APIRouter()
"""All addresses of the Films screen."""

router.include_router(keeping.router)
router.include_router(routes.router)

__all__ = ["router"]
