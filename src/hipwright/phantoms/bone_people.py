"""People drawn at random for judging bone models: shapes, hips and scans that vary apart.

Every hip is drawn from a kind (ordinary, with a bump, overcovered, dysplastic, with
osteophytes and a narrowed joint), every person from the shape model within two standard
deviations, every scan from what scanners do. The same seed gives the same people.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import Enum
from types import MappingProxyType

import numpy as np

from hipwright.domain.side import Side
from hipwright.phantoms.ct_scanner import Patient
from hipwright.phantoms.ct_setup import ORDINARY, BoneDensity, Scan
from hipwright.phantoms.people import Person
from hipwright.phantoms.person_spec import Bump, HipSpec, PersonSpec, RimChange
from hipwright.phantoms.shape_model import DISTORTING_MODES

_MODES = 10
_LARGEST_SD = 2.0


class HipKind(Enum):
    """What is the matter with a hip."""

    ORDINARY = "ordinary"
    BUMP = "bump"
    OVERCOVERED = "overcovered"
    DYSPLASTIC = "dysplastic"
    OSTEOPHYTES = "osteophytes"
    NARROWED = "narrowed"


@dataclass(frozen=True, slots=True, kw_only=True)
class BonePerson:
    """One drawn person and the scan they are to have.

    Attributes
    ----------
    number
        Place in the row of draws.
    kinds
        What is the matter with either hip.
    spec
        Their anatomy, for :func:`~hipwright.phantoms.people.build_person`.
    scan
        How they are scanned.
    """

    number: int
    kinds: Mapping[Side, HipKind]
    spec: PersonSpec
    scan: Scan


def _hip(kind: HipKind, radius: float, rng: np.random.Generator) -> HipSpec:
    def draw(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    plain = HipSpec(
        head_radius_mm=float(np.clip(radius + rng.normal(0, 0.2), 19.0, 28.5)),
        joint_gap_mm=draw(2.6, 4.6),
        lateral_center_edge_deg=draw(24.0, 37.0),
        roof_angle_deg=draw(0.0, 9.0),
        inclination_deg=draw(44.0, 50.0),
        anteversion_deg=draw(8.0, 24.0),
        version_deg=draw(2.0, 28.0),
        neck_shaft_deg=draw(121.0, 135.0),
        junction_deg=draw(42.0, 48.0),
    )
    if kind is HipKind.BUMP:
        bump = Bump(
            height_mm=draw(2.0, 5.0),
            onset_deg=draw(62.0, 78.0),
            hour=draw(12.0, 15.0) % 12.0,
            half_extent_hours=draw(2.4, 3.8),
            ramp_mm=draw(7.0, 10.0),
        )
        return replace(plain, bumps=(bump,), version_deg=draw(-4.0, 18.0))
    if kind is HipKind.OVERCOVERED:
        growth = RimChange(hour=draw(0.0, 3.0), half_extent_hours=2.5, degrees=draw(3.0, 8.0))
        return replace(
            plain,
            lateral_center_edge_deg=draw(40.0, 47.0),
            roof_angle_deg=draw(-6.0, 1.0),
            rim_changes=(growth,),
            joint_gap_mm=draw(2.4, 3.8),
        )
    if kind is HipKind.DYSPLASTIC:
        return replace(
            plain,
            lateral_center_edge_deg=draw(9.0, 20.0),
            roof_angle_deg=draw(11.0, 20.0),
            inclination_deg=draw(49.0, 54.0),
            anteversion_deg=draw(16.0, 28.0),
            version_deg=draw(18.0, 38.0),
            neck_shaft_deg=draw(130.0, 142.0),
            joint_gap_mm=draw(3.6, 5.0),
            head_shift_mm=(draw(0.0, 1.2), draw(-0.5, 0.5), draw(0.0, 0.8)),
        )
    if kind is HipKind.OSTEOPHYTES:
        spurs = tuple(
            Bump(
                height_mm=draw(1.5, 2.8),
                onset_deg=draw(60.0, 68.0),
                hour=(hour + draw(-0.6, 0.6)) % 12.0,
                half_extent_hours=draw(1.8, 2.8),
                ramp_mm=draw(4.0, 6.0),
            )
            for hour in (1.2, 6.2, 10.0)
        )
        lips = tuple(
            RimChange(hour=hour, half_extent_hours=2.0, degrees=draw(2.0, 5.0))
            for hour in (1.0, 8.5)
        )
        return replace(
            plain,
            bumps=spurs,
            rim_changes=lips,
            joint_gap_mm=draw(2.0, 3.0),
            head_shift_mm=(draw(0.2, 0.8), draw(-0.3, 0.3), draw(0.3, 1.0)),
        )
    if kind is HipKind.NARROWED:
        return replace(
            plain,
            joint_gap_mm=draw(1.7, 2.2),
            head_shift_mm=(draw(0.1, 0.4), 0.0, draw(0.3, 0.7)),
        )
    return plain


def _scan(rng: np.random.Generator) -> Scan:
    def draw(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    plain = Scan()
    density = BoneDensity(
        cortex_hu=draw(1280.0, 1480.0),
        cortex_hu_spread=draw(0.04, 0.10),
        thickness=draw(0.8, 1.2),
        thickness_spread=draw(0.1, 0.25),
        spongy_hu=draw(130.0, 240.0),
        head_hu=draw(280.0, 480.0),
        shaft_hu=draw(-60.0, 0.0),
        texture_hu=draw(25.0, 60.0),
        texture_mm=draw(0.7, 1.3),
    )
    sharp = rng.random() < 1 / 3
    return replace(
        plain,
        block=replace(
            plain.block, pixel_mm=draw(0.66, 0.8), spacing_mm=float(rng.choice([0.75, 1.0, 1.25]))
        ),
        density=density if rng.random() < 0.9 else ORDINARY,  # noqa: PLR2004 (some plain ones)
        blur_mm=draw(0.35, 0.45) if sharp else draw(0.45, 0.65),
        overshoot=draw(0.2, 0.5) if sharp else 0.0,
        noise_hu=draw(18.0, 45.0),
        bias=draw(0.0, 0.06),
        turned_deg=(draw(-10.0, 10.0), draw(-5.0, 5.0), draw(-8.0, 8.0)),
        kernel="SHARP" if sharp else "MEDIUM",
    )


def bone_people(seed: int, count: int) -> tuple[BonePerson, ...]:
    """Draw people with their scans.

    Parameters
    ----------
    seed
        The same seed gives the same people, and more of them the same first ones.
    count
        How many.
    """
    found: list[BonePerson] = []
    allowed = [m for m in range(1, _MODES + 1) if m not in DISTORTING_MODES]
    kinds = list(HipKind)
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        radius = float(rng.uniform(20.0, 26.5))
        either = {side: kinds[int(rng.integers(len(kinds)))] for side in Side}
        if number < len(kinds):  # every kind comes up early
            either[Side.LEFT] = kinds[number]
        weights = np.clip(rng.normal(0, 1, len(allowed)), -_LARGEST_SD, _LARGEST_SD)
        spec = PersonSpec(
            left=_hip(either[Side.LEFT], radius, rng),
            right=_hip(either[Side.RIGHT], radius, rng),
            shape=MappingProxyType(
                {mode: float(w) for mode, w in zip(allowed, weights, strict=True)}
            ),
            symphysis_gap_mm=float(rng.uniform(2.5, 5.0)),
        )
        found.append(
            BonePerson(number=number, kinds=MappingProxyType(either), spec=spec, scan=_scan(rng))
        )
    return tuple(found)


def patient_of(person: Person) -> Patient:
    """A built person as the scanner takes them."""
    return Patient(
        bones={name: bone.outer for name, bone in person.bones.items()},
        heads_mm={side: person.truth.hip(side).head_center for side in Side},
        radii_mm={side: person.truth.hip(side).head_radius_mm for side in Side},
        inner={n: bone.inner for n, bone in person.bones.items() if bone.inner is not None},
    )
