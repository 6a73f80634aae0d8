"""A workspace with thousands of invented cases."""

from __future__ import annotations

import os
from pathlib import Path
from unittest.mock import patch

from benchmarks.serving import environment
from hipwright.domain.side import Side
from tests.web_house import add_person

CASES, FILMED = 5_000, 200
"""All cases, and how many of them have a read film."""


def fill(workspace: Path, folder: Path) -> str:
    """Fill a new workspace and give the code of a case with films."""
    with patch.dict(os.environ, environment(folder)):
        from hipwright.wiring import open_workspace

        code = ""
        with open_workspace(workspace, create=True) as opened:
            for first in range(0, CASES // 2, 100):
                with opened.keeper.transaction(by="human:bench"):
                    for number in range(first, min(first + 100, CASES // 2)):
                        filmed = number % (CASES // FILMED) == 0
                        made = add_person(
                            opened,
                            name=f"Invented Person {number}",
                            number=f"B-{number:05d}",
                            sides=(Side.LEFT, Side.RIGHT),
                            films=2 if filmed else 0,
                            read=filmed,
                            invented=True,
                        )
                        code = code or made[0].code
        return code
