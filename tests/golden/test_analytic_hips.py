"""Exact landmarks give the truth that an analytic hip was built with.

Truth is what the hip was built with or plane trigonometry on it
(``hipwright.phantoms.analytic_*``), never an engine's answer.
"""

from dataclasses import replace

import pytest

from hipwright.catalog import load
from hipwright.catalog.entries import EntryKind
from hipwright.domain.measurement import Unit
from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.engines.measurement.doubt import Doubt
from hipwright.phantoms.analytic_film import (
    AnalyticFilm,
    AnalyticPelvis,
    FilmMaking,
    false_profile_film,
    lateral_film,
    pelvis_film,
)
from hipwright.phantoms.analytic_hip import KINDS
from tests.golden.readings_of_phantoms import measured

# The goals of the work order: angles, lengths, ratios and percent.
TOLERANCE_DEG = 0.2
TOLERANCE_MM = 0.2
TOLERANCE_RATIO = 0.005
FEW = Doubt(draws=20)

MAKINGS = {
    "plain": FilmMaking(),
    "rolled": FilmMaking(roll_deg=5.0),
    "rolled the other way and shown mirrored": FilmMaking(roll_deg=-3.0, mirrored=True),
    "pixels higher than wide": FilmMaking(row_mm=0.2, roll_deg=2.0),
    "anterior to the left": FilmMaking(anterior_right=False),
}


def films(kind: str, making: FilmMaking) -> list[AnalyticFilm]:
    hip = KINDS[kind]
    return [
        pelvis_film({Side.LEFT: hip, Side.RIGHT: KINDS["normal"]}, making=making),
        pelvis_film({Side.LEFT: KINDS["cam"], Side.RIGHT: hip}, making=making),
        *(
            lateral_film(side, hip, view=view, making=making)
            for side in Side
            for view in (View.DUNN_45, View.LATERAL_OTHER)
        ),
        # A false profile has no baseline of its own: the picture's upright is its upright.
        *(false_profile_film(side, hip, making=replace(making, roll_deg=0.0)) for side in Side),
    ]


def tolerance(unit: Unit, truth: float) -> float:
    match unit:
        case Unit.DEGREE:
            return TOLERANCE_DEG
        case Unit.MILLIMETER:
            return TOLERANCE_MM
        case Unit.PERCENT:
            return 100 * TOLERANCE_RATIO
        case _:
            return TOLERANCE_RATIO * max(1.0, abs(truth))


@pytest.mark.parametrize("making", MAKINGS.values(), ids=MAKINGS)
@pytest.mark.parametrize("kind", KINDS)
def test_every_measurement_returns_the_truth_of_an_analytic_hip(
    kind: str, making: FilmMaking
) -> None:
    for made in films(kind, making):
        found = measured(made, doubt=FEW)
        assert made.truth.keys() <= found.keys()
        for key, truth in made.truth.items():
            value = found[key]
            assert value.value == pytest.approx(truth, abs=tolerance(value.unit, truth)), key


def test_the_analytic_films_know_the_truth_of_every_computed_entry() -> None:
    known = {name for made in films("cam", FilmMaking()) for name, _ in made.truth}
    computed = {
        entry.id
        for entry in load().measurements.values()
        if entry.kind is not EntryKind.GRADED and not entry.is_in_space
    }
    assert known == computed


def test_an_uncalibrated_film_gives_angles_and_ratios_and_lengths_in_pixels() -> None:
    making = FilmMaking(calibrated=False, row_mm=0.18)
    made = pelvis_film({Side.LEFT: KINDS["cam"], Side.RIGHT: KINDS["normal"]}, making=making)
    found = measured(made, doubt=FEW)
    catalog = load()
    for key, truth in made.truth.items():
        entry = catalog.measurement(key[0])
        if entry.needs_scale:
            assert key not in found
        elif entry.unit is Unit.MILLIMETER:
            assert found[key].unit is Unit.PIXEL
            assert found[key].value == pytest.approx(
                truth / making.column_mm, abs=TOLERANCE_MM / making.column_mm
            )
            assert any("uncalibrated" in note for note in found[key].notes)
        else:
            assert found[key].value == pytest.approx(truth, abs=tolerance(entry.unit, truth)), key


@pytest.mark.parametrize("turn_deg", [55.0, 60.0, 65.0, 70.0])
@pytest.mark.parametrize("far_head_enlarged", [1.0, 1.2])
def test_false_profile_rotation_is_the_one_the_pelvis_was_turned_by(
    turn_deg: float, far_head_enlarged: float
) -> None:
    stands = AnalyticPelvis(false_profile_deg=turn_deg, far_head_enlarged=far_head_enlarged)
    made = false_profile_film(Side.LEFT, KINDS["normal"], pelvis=stands)
    value = measured(made, doubt=FEW)["false_profile_rotation", None]
    assert value.value == pytest.approx(turn_deg, abs=TOLERANCE_DEG)
