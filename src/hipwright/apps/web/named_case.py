"""The case that an address names."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from hipwright.apps.web.state import web_state
from hipwright.domain.keeping import Case


def case_named(request: Request, code: str) -> Case:
    """Find it."""
    return web_state(request).opened.keeper.case(code)


Named = Annotated[Case, Depends(case_named)]
