"""The stories of the invented demonstration hips."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import Any

Details = Mapping[str, str | float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One invented person with one hip to look after.

    ``name`` is in DICOM form and says that nobody is meant; ``key`` ties the story to its
    anatomy and films. ``side`` is ``left`` or ``right``. ``grades`` are values by catalog id,
    ``details`` what else was entered with them.
    """

    key: str
    code: str
    name: str
    patient_number: str
    sex: str
    born: date
    side: str
    summary: str
    teaches: str
    filmed: date
    filmed_after_operation: date
    grades: Mapping[str, str]
    details: Mapping[str, Details]


def stories() -> tuple[Story, ...]:
    """Read all stories, in the order the clinic lists them."""
    text = (files("hipwright.catalog") / "demonstration.toml").read_text("utf-8")
    table = tomllib.loads(text)
    return tuple(_story(row, table) for row in table["hip"])


def _story(row: Mapping[str, Any], days: Mapping[str, Any]) -> Story:
    return Story(
        key=row["key"],
        code=row["code"],
        name=row["name"],
        patient_number=row["patient_number"],
        sex=row["sex"],
        born=row["born"],
        side=row["side"],
        summary=row["summary"],
        teaches=row["teaches"],
        filmed=days["filmed"],
        filmed_after_operation=days["filmed_after_operation"],
        grades=row["grades"],
        details=row.get("details", {}),
    )
