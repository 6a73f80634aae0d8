"""The CT scans of the demonstration people: how each is taken."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from hipwright.domain.side import Side
from hipwright.phantoms.ct_simulator import CtSetup, SimulatedVolume, simulate_ct
from hipwright.phantoms.demonstration import DANCER, HANDBALL_KEEPER, ROWER, DemonstrationPerson
from hipwright.phantoms.demonstration_films import FIRST, film_plan
from hipwright.phantoms.film_people import skeleton_of
from hipwright.phantoms.film_setup import LegPose
from hipwright.phantoms.people import Person


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedScan:
    """One series of a demonstration person.

    Parameters
    ----------
    key, description
        Unique within the person; as the header describes it.
    setup, seed
        How it is taken; soft tissue, grain and noise.
    whole_femora
        Whether the femora must reach down to the knees.
    """

    key: str
    description: str
    setup: CtSetup
    seed: int
    whole_femora: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakenScan:
    """A planned scan, taken."""

    planned: PlannedScan
    volume: SimulatedVolume


_LYING_LEGS = MappingProxyType({side: LegPose(internal_rotation_deg=-9.0) for side in Side})
"""Feet fall outward on the table (common practice: ten degrees or so)."""

HIPS = CtSetup(
    columns=384,
    rows=272,
    pixel_mm=0.8,
    slice_mm=1.0,
    from_mm=-140.0,
    to_mm=136.0,
    legs=_LYING_LEGS,
)
"""Both hips, from the iliac crests to the upper third of the shafts, cut to the pelvis."""

KNEES = replace(HIPS, slice_mm=1.25, from_mm=-430.0, to_mm=-330.0)
"""The condyles, for the version of the femora."""


def scan_plan(person: DemonstrationPerson) -> tuple[PlannedScan, ...]:
    """The scans of a person: three have one, one of them with the knees."""
    hips = PlannedScan(key="ct_hips", description="CT pelvis bone 1 mm", setup=HIPS, seed=0)
    knees = replace(hips, key="ct_knees", description="CT knee bone 1.25 mm", setup=KNEES)
    plans: Mapping[str, tuple[PlannedScan, ...]] = {
        ROWER.key: (replace(hips, seed=301),),
        DANCER.key: (
            replace(hips, seed=302, whole_femora=True),
            replace(knees, seed=303, whole_femora=True),
        ),
        HANDBALL_KEEPER.key: (replace(hips, seed=304),),
    }
    return plans.get(person.key, ())


def demonstration_scans(person: DemonstrationPerson, built: Person) -> Iterator[TakenScan]:
    """Take a person's scans.

    Parameters
    ----------
    built
        The person as before any operation, femora whole where the plan asks for it.
    """
    films = film_plan(person)
    skeleton = skeleton_of(built, scar_slopes_deg=films.scar_slopes_deg, worn=films.worn)
    for planned in scan_plan(person):
        rng = np.random.default_rng(planned.seed)
        volume = simulate_ct(skeleton, planned.setup, rng, build=films.build)
        yield TakenScan(planned=planned, volume=volume)


SCANNED_STAGE = FIRST
"""Scans show the person before any operation."""
