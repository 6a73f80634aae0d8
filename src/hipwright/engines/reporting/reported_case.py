"""The facts that a report of one hip is made of."""

from __future__ import annotations

from dataclasses import dataclass

from hipwright.domain.film_marks import Mark
from hipwright.domain.measurement import Finding, Measurement
from hipwright.engines.reporting.bone_report import ReportedBones


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedPicture:
    """A part of a film and what is drawn over it; ``shows`` says what, for the caption."""

    crop_px: tuple[float, float, float, float]
    text_width_share: float
    marks: tuple[Mark, ...]
    shows: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedFilm:
    """One film as the report needs it.

    ``name`` is the view in words, ``when`` the date or the age, ``facts`` how it was taken,
    scaled and read. ``sex`` is the one by which the findings were classed.
    """

    image: str
    name: str
    when: str
    observer: str
    columns: int
    rows: int
    pictures: tuple[ReportedPicture, ...]
    findings: tuple[Finding, ...]
    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...] = ()
    sex: str | None = None

    @property
    def title(self) -> str:
        """View and date."""
        return f"{self.name}, {self.when}" if self.when else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedGrade:
    """One graded reading in words."""

    name: str
    value: str
    definition: str
    observer: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedChange:
    """One measurement on two films of the hip.

    ``pair`` names the two films, ``source`` where the smallest detectable change comes
    from; ``is_main`` says whether the letter tells it.
    """

    name: str
    earlier: str
    later: str
    change: str
    verdict: str
    pair: str = ""
    source: str = ""
    is_main: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportedCase:
    """All facts of the report of one hip; ``side`` is the hip's, ``person`` who it is in words."""

    code: str
    side: object
    side_name: str
    person: tuple[tuple[str, str], ...]
    invented: bool
    made_on: str
    software: str
    caution: str
    films: tuple[ReportedFilm, ...]
    grades: tuple[ReportedGrade, ...] = ()
    changes: tuple[ReportedChange, ...] = ()
    bones: ReportedBones | None = None


def measured(film: ReportedFilm) -> list[Measurement]:
    """What was measured on a film, of either hip."""
    return [found for found in film.findings if isinstance(found, Measurement)]


def own(case: ReportedCase, film: ReportedFilm) -> list[Measurement]:
    """What was measured of the case's hip, and of what both hips share."""
    return [found for found in measured(film) if found.side in (case.side, None)]
