"""A practice without a disk that reports its cases."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any, cast

from hipwright.domain.landmarks import LandmarkSet
from hipwright.workflows.ports import Dock, IdentityKeeper, Picture
from hipwright.workflows.report_case import CaseReport, Sources, report_case
from hipwright.workflows.save_reading import save_reading
from tests.analytic_cases import GrayDock, KeptCase, keep_case, perfect_reading
from tests.contract.fakes import MemoryIdentity, MemoryKeeper

CAUTION = "Take care: one input among several."


@dataclass
class TellingPrinter:
    """Prints a film as its gray level and remembers which part was asked for."""

    crops: list[tuple[float, float, float, float]] = field(default_factory=list)

    def film_png(self, picture: Picture, crop_px: tuple[float, float, float, float]) -> bytes:
        self.crops.append(crop_px)
        return str(picture.pixels[0, 0]).encode()


@dataclass
class Practice:
    """Keeps, reads and reports analytic cases."""

    keeper: MemoryKeeper = field(default_factory=MemoryKeeper)
    identities: MemoryIdentity = field(default_factory=MemoryIdentity)
    printer: Any = field(default_factory=TellingPrinter)

    def case(self, *films: str, **how: Any) -> KeptCase:
        return keep_case(self.keeper, *films, identities=self.identities, **how)

    def read(self, kept: KeptCase, key: str, landmarks: LandmarkSet | None = None) -> None:
        placed = landmarks or perfect_reading(kept, key)
        save_reading(self.keeper, kept.case, kept.images[key], placed)

    def report(
        self, kept: KeptCase, *, identity: IdentityKeeper | None = None, printer: Any = None
    ) -> CaseReport:
        sources = Sources(
            keeper=self.keeper,
            dock=cast("Dock", GrayDock()),
            printer=printer or self.printer,
            identity=identity,
        )
        return report_case(
            sources, kept.case, made_on=date(2026, 2, 3), software="hipwright 9", caution=CAUTION
        )
