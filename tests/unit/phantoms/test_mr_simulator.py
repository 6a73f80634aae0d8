"""MR volumes of a modeled hip: tissue where anatomy has it, findings where they were asked for."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.domain.side import Side
from hipwright.phantoms.mr_simulator import (
    BRIGHTNESS,
    Lesion,
    MrSetup,
    SimulatedFindings,
    SimulatedMr,
    rim_hours,
    simulate_mr,
)
from hipwright.phantoms.people import Person, build_person
from hipwright.phantoms.person_spec import HipSpec, PersonSpec

SETUP = MrSetup(side_mm=84.0, pixel_mm=1.0, slice_mm=1.5, noise=4.0)
FOUND = SimulatedFindings(
    tear=(11.0, 2.0),
    paralabral_cyst=Lesion(hour=1.0, diameter_mm=8.0),
    acetabular_cyst=Lesion(hour=12.0, diameter_mm=7.0),
    edema=Lesion(hour=11.0, diameter_mm=14.0),
)
TISSUE = BRIGHTNESS["fluid_bright"]


@pytest.fixture(scope="module")
def person() -> Person:
    return build_person(read_shape_model(), PersonSpec(left=HipSpec(), right=HipSpec()))


@pytest.fixture(scope="module")
def plain(person: Person) -> SimulatedMr:
    return simulate_mr(person, Side.LEFT, SETUP, np.random.default_rng(4))


@pytest.fixture(scope="module")
def ill(person: Person) -> SimulatedMr:
    return simulate_mr(person, Side.LEFT, SETUP, np.random.default_rng(4), findings=FOUND)


def at(volume: SimulatedMr, places: NDArray[np.float64]) -> NDArray[np.int16]:
    back = (np.atleast_2d(places) - volume.origin_mm) @ volume.directions / volume.spacing_mm
    j, i, k = np.rint(back).astype(int).T
    return volume.values[k, i, j]


def test_the_head_is_marrow_with_cartilage_and_fluid_around(
    person: Person, plain: SimulatedMr
) -> None:
    hip = person.truth.hip(Side.LEFT)
    assert at(plain, hip.head_center)[0] == pytest.approx(TISSUE["marrow"], rel=0.35)
    up = np.array([0.0, 0.0, 1.0])
    ray = hip.head_center + np.linspace(0.8, 1.25, 60)[:, None] * hip.head_radius_mm * up
    assert at(plain, ray).max() > TISSUE["cartilage"] * 0.7


def test_the_same_seed_draws_the_same_volume_and_contrasts_differ(person: Person) -> None:
    small = replace(SETUP, side_mm=60.0, pixel_mm=1.5)
    one = simulate_mr(person, Side.RIGHT, small, np.random.default_rng(1))
    two = simulate_mr(person, Side.RIGHT, small, np.random.default_rng(1))
    np.testing.assert_array_equal(one.values, two.values)
    fat = simulate_mr(
        person, Side.RIGHT, replace(small, contrast="fat_bright"), np.random.default_rng(1)
    )
    head = person.truth.hip(Side.RIGHT).head_center
    assert at(fat, head)[0] > 3 * at(one, head)[0]


def test_hours_of_the_rim_have_twelve_above_and_three_in_front_on_both_sides(
    person: Person,
) -> None:
    for side in Side:
        rim = person.truth.hip(side).pelvis.curves["rim"]
        hours = rim_hours(rim)
        top, front = rim[hours.argmax()], rim[np.abs(hours - 3).argmin()]
        assert top[2] > rim[:, 2].mean() + 10
        assert front[1] < rim[:, 1].mean() - 10  # +y is posterior


def test_findings_change_the_picture_where_they_lie_and_nowhere_else(
    plain: SimulatedMr, ill: SimulatedMr
) -> None:
    changed = np.abs(ill.values.astype(int) - plain.values) > 150
    assert changed.sum() > 100
    k, i, j = np.nonzero(changed)
    places = ill.origin_mm + np.column_stack([j, i, k]) * ill.spacing_mm
    hours = ill.rim_hours
    near = np.linalg.norm(places[:, None] - ill.rim_mm[None], axis=2)
    assert near.min(axis=1).max() < 22.0
    named = hours[near.argmin(axis=1)]
    upper = (named >= 9.5) | (named <= 3.5)
    assert upper.mean() > 0.98


def test_coronal_slices_hold_the_same_hip(person: Person, plain: SimulatedMr) -> None:
    setup = replace(SETUP, coronal=True, slice_mm=1.5, pixel_mm=1.0)
    coronal = simulate_mr(person, Side.LEFT, setup, np.random.default_rng(4))
    assert coronal.values.shape[0] == round(SETUP.side_mm / 1.5)
    np.testing.assert_allclose(coronal.directions @ [0, 1, 0], [0, 0, -1])
    head = person.truth.hip(Side.LEFT).head_center
    assert at(coronal, head)[0] == pytest.approx(TISSUE["marrow"], rel=0.35)
    ray = head + np.linspace(-40, 40, 50)[:, None] * np.array([0.0, 0.0, 1.0])
    one, other = at(plain, ray).astype(float), at(coronal, ray).astype(float)
    assert np.corrcoef(one, other)[0, 1] > 0.7
