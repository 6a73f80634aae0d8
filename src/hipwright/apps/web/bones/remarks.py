"""Remarks on bones as a page tells them: the same words of several bones once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from hipwright.domain.anatomy import Remark, Severity


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRemark:
    """One remark; ``about`` names the bones, empty where it is about the scan."""

    severity: Severity
    about: str
    text: str


def remarks_together(remarks: Iterable[Remark]) -> list[ShownRemark]:
    """Each severity and text once, with every bone that it holds for."""
    about: dict[tuple[Severity, str], list[str]] = {}
    for remark in remarks:
        names = about.setdefault((remark.severity, remark.told), [])
        if remark.bone is not None and remark.bone.words not in names:
            names.append(remark.bone.words)
    return [
        ShownRemark(severity=severity, about=_joined(names), text=text)
        for (severity, text), names in about.items()
    ]


def _joined(names: list[str]) -> str:
    """``Right femur and left femur``."""
    told = [name if n == 0 else name[:1].lower() + name[1:] for n, name in enumerate(names)]
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)
