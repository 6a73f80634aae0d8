"""What a finished bone model is held against before anything is measured from it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from hipwright.domain.anatomy import Severity
from hipwright.domain.errors import CatalogError

_WHOLE_FROM = 100.0
"""Figures from here on are told without decimals, and never as powers of ten."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneCheck:
    """One figure of a bone (or of a pair of bones) and what it may be.

    Attributes
    ----------
    id
        Code of the remark.
    figure
        Name of the figure.
    bones
        Kinds of bones it holds for: ``hip_bone``, ``femur``, ``tibia``.
    low, high
        Smallest and greatest allowed value; ``None`` where there is none.
    severity
        Of the remark when the figure lies outside.
    unit
        UCUM.
    text
        What is wrong and what to do, with places for ``{bone}`` and ``{figure}``, or
        ``{share}`` for a figure that is told in percent.
    cite
        Where the limits come from.
    """

    id: str
    figure: str
    bones: tuple[str, ...]
    severity: Severity
    unit: str
    text: str
    cite: tuple[str, ...]
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise CatalogError(
                f"cannot use the check {self.id}",
                found="neither a lower nor an upper limit",
                needed="at least one",
                next_step="Correct bone_checks.toml.",
            )

    def broken_limit(self, figure: float) -> float | None:
        """The limit that a figure is beyond, ``None`` where it is allowed."""
        if self.low is not None and not figure >= self.low:
            return self.low
        if self.high is not None and not figure <= self.high:
            return self.high
        return None

    def sentence(self, bone: str, figure: float) -> str:
        """What to tell about a bone whose figure lies outside."""
        return self.text.format(
            bone=bone,
            figure=f"{figure:.0f}" if abs(figure) >= _WHOLE_FROM else f"{figure:.3g}",
            share=f"{100 * figure:.2g} %" if figure < 1 else f"{100 * figure:.0f} %",
        )


@cache
def bone_checks() -> tuple[BoneCheck, ...]:
    """All checks, in the order they are told."""
    text = (files("hipwright.catalog") / "bone_checks.toml").read_text("utf-8")
    return tuple(
        BoneCheck(
            id=row["id"],
            figure=row["figure"],
            bones=tuple(row["bones"]),
            severity=Severity(row["severity"]),
            unit=row["unit"],
            text=row["text"],
            cite=tuple(row["cite"]),
            low=row.get("low"),
            high=row.get("high"),
        )
        for row in tomllib.loads(text)["check"]
    )
