"""The kinds of entry on the shelf, checked when they are made."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType

from hipwright.domain.errors import CatalogError
from hipwright.domain.evidence import Citation, Seen
from hipwright.domain.measurement import Unit
from hipwright.domain.study import View


class LandmarkKind(Enum):
    """How a landmark is placed."""

    POINT = "point"
    CIRCLE = "circle"
    CONTOUR = "contour"


class EntryKind(Enum):
    """How a measurement gets its value."""

    COMPUTED = "computed"
    SERIES = "series"
    GRADED = "graded"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A source, its identifier, and how it was seen."""

    id: str
    text: str
    identifier: str
    seen: Seen
    year: int
    via: str = ""

    def citation(self) -> Citation:
        """The reference as it travels with a number."""
        return Citation(id=self.id, text=self.text, identifier=self.identifier, seen=self.seen)


@dataclass(frozen=True, slots=True, kw_only=True)
class LandmarkDefinition:
    """A landmark: what it is, where it can be seen, how far readers disagree.

    ``observer_sd_mm`` is the spread along u and along v. A landmark that
    ``moves_with`` another one lies on the same edge: a reader who sees that edge
    elsewhere moves both, and ``observer_sd_mm`` is only what is left between them.
    An ``optional`` landmark is not there on most films: guided placement offers it.
    """

    id: str
    name: str
    kind: LandmarkKind
    midline: bool
    views: tuple[View, ...]
    definition: str
    group: str
    observer_sd_mm: tuple[float, float]
    observer_sd_cite: tuple[str, ...]
    observer_sd_radius_mm: float = 0.0
    moves_with: str = ""
    optional: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class InputName:
    """One input of a construction: a landmark and, where it is written, its side.

    ``teardrop_inferior`` is the landmark of the hip that is measured;
    ``teardrop_inferior@right`` the one of that side whatever is measured.
    """

    landmark: str
    side: str = ""

    @classmethod
    def parse(cls, text: str) -> InputName:
        """Read ``landmark`` or ``landmark@side``."""
        landmark, _, side = text.partition("@")
        return cls(landmark=landmark, side=side)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One class of a reference range: ``low <= value < high``."""

    name: str
    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise CatalogError(
                f"cannot use the band {self.name}",
                found=f"{self.low} to {self.high}",
                needed="low below high",
                next_step="Correct the catalog entry.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceRange:
    """One published set of classes, on the variant its source used.

    ``variant`` is ``this`` where the source measured this very construction,
    ``unstated`` where it does not say, else the id of the other variant.
    ``views`` narrows the range to some of the entry's views, ``sex`` to ``female``
    or ``male``; empty means all. The first range that fits is the one a value is
    classed by. ``decided_on`` dates a range that the practice set itself.
    """

    scheme: str
    bands: tuple[Band, ...]
    cite: str
    variant: str
    views: tuple[View, ...] = ()
    sex: str = ""
    settles: str = ""
    note: str = ""
    decided_on: str = ""

    @property
    def is_practice_own(self) -> bool:
        """Whether the practice itself set these classes, on :attr:`decided_on`."""
        return bool(self.decided_on)

    def fits(self, view: View, sex: str | None) -> bool:
        """Whether values of that view and sex are classed by this range."""
        return (not self.views or view in self.views) and self.sex in {"", sex}

    def __post_init__(self) -> None:
        edges = [(a.high, b.low) for a, b in zip(self.bands, self.bands[1:], strict=False)]
        gapless = all(high == low for high, low in edges)
        open_ended = (
            bool(self.bands) and self.bands[0].low == -math.inf and self.bands[-1].high == math.inf
        )
        if not (gapless and open_ended):
            raise CatalogError(
                f"cannot use the ranges of {self.scheme}",
                found=str([(b.name, b.low, b.high) for b in self.bands]),
                needed="bands that follow each other from -inf to inf without a gap",
                next_step="Correct the catalog entry.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Population:
    """Published values of a population: shown beside a value, never a class."""

    text: str
    cite: str
    variant: str
    mean: float | None = None
    sd: float | None = None
    low: float | None = None
    high: float | None = None
    views: tuple[View, ...] = ()
    sex: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """How well readers repeat the measurement, by a published source."""

    text: str
    cite: str
    smallest_detectable_change: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pitfall:
    """What goes wrong in practice."""

    text: str
    cite: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """One value of a graded reading."""

    value: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """What can be noted beside a grade: a length, a clock hour, a choice."""

    id: str
    name: str
    unit: str
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()


class NoiseRaises(Enum):
    """How a value that noise of the bone's surface can only raise is freed of that rise.

    ``SQUARES``: noise adds to its square, as to a mean square; draws are reflected about the value
    in squares. ``DISTANCE``: the same, but noise may also cancel some of it, as of the distance of
    two places; draws above their middle stay. ``SUMS``: noise adds to the value itself, as to a
    volume; draws are reflected about it. ``TYPICAL``: noise now and then makes it jump, as the
    largest of many angles; draws are lowered by what follows from their typical rise.
    """

    SQUARES = "squares"
    SUMS = "sums"
    DISTANCE = "distance"
    TYPICAL = "typical"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementDefinition:
    """A measurement: construction, sign, inputs, ranges, sources.

    ``landmarks`` are the inputs of the construction in the order of its
    function's parameters; ``@right`` or ``@left`` behind one fixes its side.
    ``parameters`` are named numbers of the construction (a departure in mm, a
    distance between the heads) with their sources in ``defined_by``; they are
    handed to the function by keyword, and those in ``parameter_sd`` are drawn
    with that standard deviation. ``needs_scale`` marks constructions that mean
    nothing on an uncalibrated film, ``descriptive`` ones that no decision
    should rest on.

    A measurement of bone models has ``features`` in place of landmarks: what it is
    built from, by id of the catalog's bone features. A series of them has one value for each
    of its clock ``hours``. ``tilts_with_pelvis`` marks values that change when the pelvis
    tilts, so that they are given in the anterior pelvic plane and at the patient's own tilt.
    ``noise_raises`` marks values that are squared or the largest of many: the surface's noise can
    only raise them, and their interval is freed of that.
    """

    id: str
    name: str
    abbreviation: str
    kind: EntryKind
    unit: Unit
    views: tuple[View, ...]
    landmarks: tuple[str, ...]
    construction: str
    sign: str
    reported_to: float
    group: str
    defined_by: tuple[str, ...]
    features: tuple[str, ...] = ()
    hours: tuple[float, ...] = ()
    tilts_with_pelvis: bool = False
    noise_raises: NoiseRaises | None = None
    needs_baseline: bool = False
    midline: bool = False
    undefined_when: str = ""
    position_sensitive: bool = False
    needs_scale: bool = False
    descriptive: bool = False
    parameters: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    parameter_sd: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    pitfalls: tuple[Pitfall, ...] = ()
    reference_ranges: tuple[ReferenceRange, ...] = ()
    population: tuple[Population, ...] = ()
    repeatability: tuple[Repeatability, ...] = ()
    grades: tuple[Grade, ...] = ()
    details: tuple[Detail, ...] = ()

    @property
    def is_in_space(self) -> bool:
        """Whether it is measured on bone models, not on a picture."""
        return bool(self.features)

    @property
    def inputs(self) -> tuple[InputName, ...]:
        """The landmarks with their fixed sides, in the order of the parameters."""
        return tuple(InputName.parse(name) for name in self.landmarks)

    def range_for(self, view: View, sex: str | None = None) -> ReferenceRange | None:
        """The range a value of that view, and of a person of that sex, is classed by."""
        return next((r for r in self.reference_ranges if r.fits(view, sex)), None)

    def smallest_detectable_change(self) -> Repeatability | None:
        """The first published repeatability that gives a smallest detectable change."""
        fitting = (r for r in self.repeatability if r.smallest_detectable_change is not None)
        return next(fitting, None)
