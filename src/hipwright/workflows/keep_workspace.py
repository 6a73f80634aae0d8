"""Looking after a workspace: what a check-up finds, what a backup tells."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

from hipwright.domain.errors import HipwrightError


class CheckState(Enum):
    """How one check came out."""

    OK = "ok"
    NOTE = "note"
    PROBLEM = "problem"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that was looked at, and what to do about it."""

    about: str
    state: CheckState
    told: str
    next_step: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupReport:
    """What a backup holds.

    ``damaged`` counts files that were missing or no longer what they were: the rest is
    backed up all the same.
    """

    files: int
    size_bytes: int
    damaged: int
    with_identity: bool
    with_key: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RestoreReport:
    """What came back from a backup; ``key_id`` names the key that opens the identity store."""

    files: int
    damaged: int
    made_at: str
    software: str
    with_identity: bool
    key_id: str | None
    key_came_along: bool
    key_is_here: bool = False


def ok(about: str, told: str) -> Check:
    """All is well."""
    return Check(about=about, state=CheckState.OK, told=told)


def note(about: str, told: str, next_step: str = "") -> Check:
    """Worth knowing; nothing is broken."""
    return Check(about=about, state=CheckState.NOTE, told=told, next_step=next_step)


def problem(about: str, told: str, next_step: str) -> Check:
    """Something is broken or at risk."""
    return Check(about=about, state=CheckState.PROBLEM, told=told, next_step=next_step)


Examination = tuple[str, Callable[[], Iterable[Check]]]
"""What is examined, and how."""


def examine(examinations: Sequence[Examination]) -> list[Check]:
    """Run every examination; one that cannot be done is a problem, not the end."""
    checks: list[Check] = []
    for about, look in examinations:
        try:
            checks.extend(look())
        except HipwrightError as error:
            found = f"{error.what}: {error.found}" if error.found else error.what
            checks.append(problem(about, found, error.next_step))
    return checks


def is_sound(checks: Iterable[Check]) -> bool:
    """Whether no check found a problem."""
    return all(check.state is not CheckState.PROBLEM for check in checks)
