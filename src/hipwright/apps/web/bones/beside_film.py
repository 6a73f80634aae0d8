"""The film that the CT would have given, beside the real one."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter()
