"""The newest value of every measurement of a hip, with that of the other hip beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from hipwright.domain.keeping import Image
from hipwright.domain.measurement import Measurement
from hipwright.domain.side import Side
from hipwright.workflows.measure_hip import ReadImage


@dataclass(frozen=True, slots=True, kw_only=True)
class LatestFinding:
    """A measurement on the newest film that has it, and the other hip's on the same film."""

    measurement: Measurement
    image: Image
    other_side: Measurement | None


def latest_findings(read: Iterable[ReadImage], side: Side) -> tuple[LatestFinding, ...]:
    """The newest value of every measurement, one for each view.

    Parameters
    ----------
    read
        The films of a case with their findings, of both hips if they are to be compared.
    side
        The case's hip.
    """
    newest: dict[tuple[str, str], LatestFinding] = {}
    for shown in sorted(read, key=_taken):
        for found in _measured(shown):
            if found.side in {side, None}:
                key = found.definition, found.view.value
                other = _other(shown, found, side)
                newest[key] = LatestFinding(measurement=found, image=shown.image, other_side=other)
    return tuple(newest.values())


def key_finding(
    latest: Sequence[LatestFinding], definition: str, views: Sequence[str]
) -> LatestFinding | None:
    """One measurement for a list: of the newest film, of several that day the first view's."""
    fitting = [found for found in latest if found.measurement.definition == definition]
    if not fitting:
        return None
    newest = max(_day(found.image) for found in fitting)
    that_day = [found for found in fitting if _day(found.image) == newest]
    return min(that_day, key=lambda found: _rank(found.measurement.view.value, views))


def _rank(view: str, views: Sequence[str]) -> int:
    return views.index(view) if view in views else len(views)


def _measured(shown: ReadImage) -> list[Measurement]:
    return [found for found in shown.findings if isinstance(found, Measurement)]


def _other(shown: ReadImage, found: Measurement, side: Side) -> Measurement | None:
    fitting = (
        other
        for other in _measured(shown)
        if other.definition == found.definition and other.side is side.opposite
    )
    return next(fitting, None) if found.side is not None else None


def _taken(shown: ReadImage) -> tuple[date, str]:
    return _day(shown.image), shown.image.id


def _day(image: Image) -> date:
    return image.acquired_on or date.min
