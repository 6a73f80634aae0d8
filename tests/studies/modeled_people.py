"""Modeled people at random: anatomy over wide ranges, the same for the same seed."""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from hipwright.phantoms.person_spec import Bump, HipSpec, PersonSpec

SEED = 20_261_125


@dataclass(frozen=True, slots=True, kw_only=True)
class ModeledPerson:
    """One modeled person, with the height of the bump of both hips in mm."""

    key: str
    spec: PersonSpec


def random_people(count: int, seed: int = SEED) -> list[ModeledPerson]:
    """Modeled people with both hips drawn apart.

    Uniform: center-edge angle 15–45°, femoral version 0–35°, neck–shaft angle 120–140°, joint
    gap 1.5–4.5 mm, bump 0–5 mm with onset 50–78° in every second hip, anteversion of the
    socket 2–24°. The roof angle follows the center-edge angle with 3° of its own, within −5 to
    15°; the size of the head and the shape of the bones vary too.
    """
    generator = np.random.default_rng(seed)
    return [
        ModeledPerson(key=f"modeled-{number:02d}", spec=_person(generator))
        for number in range(1, count + 1)
    ]


def _person(generator: np.random.Generator) -> PersonSpec:
    radius = generator.uniform(21.0, 26.0)
    shape = {mode: float(generator.normal(0, 0.5)) for mode in (1, 2, 5, 6, 7, 8)}
    left, right = (_hip(generator, radius + generator.normal(0, 0.2)) for _ in range(2))
    return PersonSpec(left=left, right=right, shape=MappingProxyType(shape))


def _hip(generator: np.random.Generator, radius: float) -> HipSpec:
    edge = generator.uniform(15.0, 45.0)
    bumps: tuple[Bump, ...] = ()
    height, onset, hour = (
        generator.uniform(1.0, 5.0),
        generator.uniform(50.0, 78.0),
        generator.uniform(0.5, 2.5),
    )
    if generator.random() < 0.5:
        bumps = (Bump(height_mm=height, onset_deg=onset, hour=hour, half_extent_hours=3.2),)
    return HipSpec(
        head_radius_mm=float(radius),
        joint_gap_mm=float(generator.uniform(1.5, 4.5)),
        lateral_center_edge_deg=float(edge),
        roof_angle_deg=float(np.clip(25 - edge * 2 / 3 + generator.normal(0, 3), -5, 15)),
        anteversion_deg=float(generator.uniform(2.0, 24.0)),
        version_deg=float(generator.uniform(0.0, 35.0)),
        neck_shaft_deg=float(generator.uniform(120.0, 140.0)),
        bumps=bumps,
    )
