"""What a reading's numbers depend on beside its landmarks: the reader's spread and the sex."""

from __future__ import annotations

from dataclasses import dataclass, field

from hipwright.catalog import load
from hipwright.domain.keeping import Case, Image
from hipwright.engines.measurement.doubt import Doubt
from hipwright.engines.outcomes.observer_spread import RepeatReading, observer_spread
from hipwright.workflows.ports import Keeper

SEXES = {"F": "female", "M": "male"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """The doubt that is drawn, and the sex that chooses between ranges of the sexes."""

    doubt: Doubt = field(default_factory=Doubt)
    sex: str | None = None


def circumstances_of(keeper: Keeper, image: Image, observer: str) -> Circumstances:
    """How an observer's reading of an image is measured.

    The observer's own spread takes the place of the catalog's default at every
    landmark that they have placed again ten times or more.
    """
    return Circumstances(doubt=doubt_of(keeper, observer), sex=sex_of(keeper, image))


def sex_of(keeper: Keeper, shown: Image | Case) -> str | None:
    """The person's sex as ranges name it, ``None`` where it is not known."""
    return SEXES.get(keeper.person(shown.person).sex or "")


def doubt_of(keeper: Keeper, observer: str) -> Doubt:
    """The doubt of an observer's landmarks."""
    repeats = (
        RepeatReading(
            film=keeper.image(reading.landmarks.image).film(), landmarks=reading.landmarks
        )
        for reading in keeper.repeat_readings_by(observer)
    )
    return Doubt(observer_sd_mm=dict(observer_spread(repeats, load())))
