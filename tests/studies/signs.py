"""At what tilt and rotation the signs of the socket's version come and go."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.phantoms.people import Person
from tests.studies.errors import measured
from tests.studies.perfect_readings import Position, read_person
from tests.studies.space_truth import Key

SIGNS = {"retroversion_index": 0.05, "posterior_wall_sign": 0.0, "ischial_spine_sign": 0.0}
"""Catalog id and the value above which the sign is present."""

STEP_DEG, MOST_DEG = 2.0, 16.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SignChange:
    """One hip and one sign: present in neutral or not, and how far until that changes.

    ``tilt_deg`` is backward (towards an outlet view) for a sign that is present, forward for
    one that is absent; ``rotation_deg`` away from the hip for one that is present, toward it
    for one that is absent. ``None`` where it does not change within 16°.
    """

    sign: str
    present: bool
    tilt_deg: float | None
    rotation_deg: float | None


def sign_changes(who: str, person: Person) -> Iterator[SignChange]:
    """Turn the pelvis of a person step by step until signs change."""
    steps = [float(d) for d in np.arange(STEP_DEG, MOST_DEG + STEP_DEG / 2, STEP_DEG)]
    neutral = _values(who, person, Position())
    tilted = {
        s * d: _values(who, person, Position(tilt_deg=s * d)) for d in steps for s in (1, -1)
    }
    turned = {
        s * d: _values(who, person, Position(rotation_deg=s * d)) for d in steps for s in (1, -1)
    }
    for name, edge in SIGNS.items():
        for side in Side:
            key = name, side
            if key not in neutral:
                continue
            present = neutral[key] > edge
            way = -1.0 if present else 1.0
            outward = 1.0 if side is Side.LEFT else -1.0
            yield SignChange(
                sign=name,
                present=present,
                tilt_deg=_change(neutral, tilted, key, edge, [way * d for d in steps]),
                rotation_deg=_change(
                    neutral, turned, key, edge, [way * outward * d for d in steps]
                ),
            )


def _values(who: str, person: Person, position: Position) -> dict[Key, float]:
    (reading,) = read_person(who, person, position, views=((View.PELVIS_AP, None),))
    return {key: m.value for key, m in measured(reading).items() if key[0] in SIGNS}


def _change(
    neutral: dict[Key, float],
    moved: dict[float, dict[Key, float]],
    key: Key,
    edge: float,
    steps: list[float],
) -> float | None:
    """How far to go until the sign changes, between two steps by proportion."""
    before, at = neutral[key] - edge, 0.0
    for step in steps:
        if key not in moved[step]:
            return None
        now = moved[step][key] - edge
        if (now > 0) != (before > 0):
            return float(abs(at + (step - at) * before / (before - now)))
        before, at = now, float(step)
    return None
