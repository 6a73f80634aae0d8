"""Whether the film's position lets its signs be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace

from hipwright.catalog.guidance import PositionLimit
from hipwright.domain.measurement import Finding, Measurement, NotMeasured, Unit
from hipwright.engines.anatomy.canonical import MidlineBorder
from hipwright.engines.measurement.film_reading import ReadFilm
from hipwright.engines.measurement.hip_on_film import HipOnFilm

NOT_CHECKED = "position not checked: its landmarks are not placed"


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionCheck:
    """One index of the film's position against its limits.

    ``warning`` says what is wrong, and is empty where the index lies within its limits
    or could not be taken (``finding`` is then a :class:`NotMeasured`).
    """

    limit: PositionLimit
    finding: Finding
    warning: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmPosition:
    """All checks of a film's position."""

    checks: tuple[PositionCheck, ...]

    @property
    def is_checked(self) -> bool:
        """Whether at least one index could be taken."""
        return any(isinstance(check.finding, Measurement) for check in self.checks)

    @property
    def warning(self) -> str:
        """What is wrong, in words; empty where nothing is known to be."""
        return "; ".join(check.warning for check in self.checks if check.warning)


def film_position(read: ReadFilm) -> FilmPosition:
    """Check every position index of the film's view against the catalog's limits.

    Placed values are compared, not intervals: the limits themselves are rough.
    """
    hip = HipOnFilm(read, MidlineBorder(film=read.film))
    limits = (
        limit
        for limit in read.catalog.position_limits
        if read.film.view in read.catalog.measurement(limit.measurement).views
        and limit.sex in {"", read.sex}
    )
    return FilmPosition(checks=tuple(_check(hip, limit) for limit in limits))


def _check(hip: HipOnFilm, limit: PositionLimit) -> PositionCheck:
    finding = hip.measure(hip.read.catalog.measurement(limit.measurement))
    if isinstance(finding, NotMeasured) or finding.unit is Unit.PIXEL:
        return PositionCheck(limit=limit, finding=finding, warning="")
    warning = ""
    if finding.value < limit.low:
        warning = limit.below
    elif finding.value > limit.high:
        warning = limit.above
    return PositionCheck(limit=limit, finding=finding, warning=warning)


def mark_by_position(finding: Finding, position: FilmPosition) -> Finding:
    """The finding of a position-sensitive entry, with the film's warning on it."""
    if isinstance(finding, NotMeasured):
        return finding
    if position.warning:
        return replace(finding, quality_warning=f"Not to be relied on: {position.warning}.")
    if position.is_checked:
        return finding
    return replace(finding, notes=(*finding.notes, NOT_CHECKED))
