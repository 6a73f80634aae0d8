"""Measurements of the femur on surveys in closed form.

T5, T8, T12, T13, T29 and T45: check values of the imaging reference (section J there, marked
[C]: computed).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_femur_maps import at_hours
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS
from tests.unit.engines.measurement.round_femora import (
    HOURS,
    STATIONS,
    kernel_value,
    round_femur,
    value,
)

GRID_DEG = 0.15  # the map has an angle a degree; the outline is straight between them
TOUCHING = {"departure_mm": 1e-6, "reaches_mm": 0.5, "from_deg": 110.0}
FINE = np.arange(20.0, 130.0, 0.05)
FINE_DEG = 0.06  # its step, where the outline has a corner on the sphere
EVERY_HOUR = np.arange(1.0, 13.0)
BALL = (60.0, 1.5, 10.0, 17.0)
"""T29: a ball of 10 mm at 17 mm in a head of 24 mm, its middle 60° from the neck axis (T45)."""


def test_alpha_of_a_straight_neck_is_that_of_t5_where_it_first_leaves_the_sphere() -> None:
    femur = round_femur(angles_deg=FINE)
    alphas = kernel_value(femur, "alpha_angle.radial", hours=EVERY_HOUR, **TOUCHING)
    assert alphas == pytest.approx(41.81, abs=FINE_DEG)


@pytest.mark.parametrize(("departure", "expected"), [(0.5, 40.77), (2.0, 37.98)])
def test_alpha_by_departure_comes_as_late_as_the_reference_says(
    departure: float, expected: float
) -> None:
    # Section B.2 of the reference: 0.5 mm gives 40.77°, 2 mm 37.98° where 41.81° is marked.
    rule = {"departure_mm": departure, "reaches_mm": 2.5, "from_deg": 110.0}
    alphas = kernel_value(round_femur(), "alpha_angle.radial", hours=EVERY_HOUR, **rule)
    assert alphas == pytest.approx(expected, abs=GRID_DEG)


@pytest.mark.parametrize(("shift", "three_point"), [(2.0, 39.50), (-2.0, 44.78)])
def test_alpha_about_the_axis_through_the_center_is_that_of_t8(
    shift: float, three_point: float
) -> None:
    # The neck lies `shift` away from the tested side, its axis meets the other at 30 mm.
    turn = np.degrees(np.arctan(shift / 30.0))
    femur = round_femur(angles_deg=FINE)
    from_own = np.maximum(femur.angles_deg - turn, 1.0)
    height = (16.0 - shift) / np.sin(np.radians(np.minimum(from_own, 90.0)))
    shifted = replace(
        femur, radial_mm=np.broadcast_to(np.maximum(24.0, height), femur.radial_mm.shape)
    )
    alphas = kernel_value(shifted, "alpha_angle.radial", hours=EVERY_HOUR, **TOUCHING)
    assert alphas == pytest.approx(three_point, abs=FINE_DEG)


def test_onset_of_a_bump_is_where_t45_has_it() -> None:
    # T45: its middle 60° from the axis, half-angle 20.364°: the far edge lies at 80.364°, the
    # near one, toward the neck, at the reference's 39.64°.
    slender = round_femur(neck=12.0, ball=BALL, angles_deg=FINE)
    (alpha,) = kernel_value(slender, "alpha_angle.radial", hours=np.array([1.5]), **TOUCHING)
    assert alpha == pytest.approx(60.0 + 20.364, abs=FINE_DEG)
    row = slender.radial_mm[int(np.argmin(np.abs(slender.hours - 1.5)))] - 24.0
    near = slender.angles_deg[(row > 1e-6) & (slender.angles_deg > 31.0)][0]
    assert near == pytest.approx(39.64, abs=FINE_DEG)


def test_bump_has_the_height_and_volume_of_t29() -> None:
    high = (75.0, 1.5, 10.0, 17.0)  # clear of the neck
    femur = round_femur(ball=high)
    assert value(femur, "cam_height") == pytest.approx(3.0, abs=0.02)
    assert value(femur, "cam_volume") == pytest.approx(374.6, rel=0.03)


def test_bump_on_a_neck_counts_only_what_is_no_neck() -> None:
    assert value(round_femur(neck=20.0), "cam_volume") == 0.0
    assert value(round_femur(neck=16.0), "cam_height") == 0.0


def test_largest_alpha_is_told_with_its_hour_and_its_extent() -> None:
    femur = round_femur(ball=BALL)
    assert value(femur, "alpha_angle.radial.maximum") == pytest.approx(78.5, abs=0.5)
    assert value(femur, "alpha_angle.radial.maximum_hour") == pytest.approx(1.5)
    at_55, at_60 = value(femur, "cam_extent.at_55"), value(femur, "cam_extent.at_60")
    assert 30.0 < at_60 <= at_55 < 50.0


def test_the_hour_of_the_largest_alpha_is_not_told_where_there_is_none() -> None:
    assert np.isnan(value(round_femur(), "alpha_angle.radial.maximum_hour"))


def test_hours_of_draws_lie_around_the_surveyed_one() -> None:
    late, early = (
        round_femur(ball=(60.0, 11.75, 10.0, 17.0)),
        round_femur(ball=(60.0, 0.25, 10.0, 17.0)),
    )
    both = replace(
        late,
        head_radius_mm=np.array([24.0, 24.0]),
        radial_mm=np.stack([late.radial_mm, early.radial_mm]),
    )
    assert value(both, "alpha_angle.radial.maximum_hour") == pytest.approx([11.75, 12.25])


def test_an_uneven_head_alone_is_no_onset() -> None:
    femur = round_femur()
    rough = femur.radial_mm + np.where(femur.angles_deg > 70.0, 0.7, 0.0)
    alphas = value(replace(femur, radial_mm=rough), "alpha_angle.radial")
    assert alphas == pytest.approx(40.77, abs=GRID_DEG)


def test_where_no_ray_meets_the_bone_it_is_taken_to_be_far() -> None:
    femur = round_femur()
    open_ended = np.where(femur.angles_deg < 36.0, np.nan, femur.radial_mm)
    alphas = value(replace(femur, radial_mm=open_ended), "alpha_angle.radial")
    assert alphas == pytest.approx(40.77, abs=GRID_DEG)


def test_an_outline_that_never_leaves_the_sphere_has_no_alpha() -> None:
    femur = round_femur()
    ball = replace(femur, radial_mm=np.full_like(femur.radial_mm, 24.0))
    assert np.isnan(value(ball, "alpha_angle.radial")).all()
    assert np.isnan(value(ball, "alpha_angle.radial.maximum"))
    assert np.isnan(value(ball, "cam_extent.at_55"))


@pytest.mark.parametrize(("kappa", "nu", "expected"), [(130, 20, 131.76), (140, 30, 143.99)])
def test_neck_shaft_angle_seen_from_the_front_is_that_of_t12(
    kappa: float, nu: float, expected: float
) -> None:
    femur = round_femur(neck_shaft=kappa, version=nu)
    assert value(femur, "neck_shaft_angle.in_space") == pytest.approx(kappa)
    assert value(femur, "neck_shaft_angle.in_space_isthmus") == pytest.approx(kappa)
    assert value(femur, "neck_shaft_angle.in_space_frontal") == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize(
    ("kappa", "nu", "expected"), [(130, 20, 15.19), (125, 15, 12.24), (130, -5, -3.83)]
)
def test_version_in_a_slice_along_the_neck_is_that_of_t13(
    kappa: float, nu: float, expected: float
) -> None:
    femur = round_femur(neck_shaft=kappa, version=nu)
    assert value(femur, "femoral_version.oblique_slice") == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize("name", ["lee", "reikeras", "tomczak", "murphy", "neck_axis"])
@pytest.mark.parametrize("version", [-8.0, 15.0, 35.0])
def test_version_is_the_turn_of_the_neck_against_the_condyles(name: str, version: float) -> None:
    femur = round_femur(version=version)
    assert value(femur, f"femoral_version.{name}") == pytest.approx(version)


def test_each_construction_of_version_goes_by_its_own_point() -> None:
    femur = round_femur(version=0.0)
    moved = femur.version_points.copy()
    moved[0] = np.array([30.0, -30.0 * np.tan(np.radians(12.0)), -20.0])
    turned = replace(femur, version_points=moved)
    assert value(turned, "femoral_version.lee") == pytest.approx(12.0)
    assert value(turned, "femoral_version.murphy") == pytest.approx(0.0)


def test_version_without_a_knee_is_not_told() -> None:
    femur = round_femur(posterior_condyles=np.full((2, 3), np.nan))
    assert np.isnan(value(femur, "femoral_version.murphy"))


def test_tibial_torsion_is_positive_when_the_foot_points_outward() -> None:
    turn = np.radians(25.0)
    plateau = np.array([[-22.0, -20.0, -420.0], [22.0, -20.0, -420.0]])
    ankle = np.array([[0.0, 0.0, -780.0], [60.0 * np.cos(turn), -60.0 * np.sin(turn), -780.0]])
    centered = ankle - ankle.mean(axis=0) + np.array([0.0, -20.0, -780.0])
    femur = round_femur(tibial_condyles=plateau, malleoli=centered)
    assert value(femur, "tibial_torsion") == pytest.approx(25.0)


def test_waist_and_offset_of_a_round_neck() -> None:
    femur = round_femur(neck=15.0)
    assert value(femur, "neck_waist.by_hour") == pytest.approx(15.0)
    assert value(femur, "head_neck_offset.by_hour") == pytest.approx(9.0)
    assert value(femur, "head_neck_offset_ratio.by_hour") == pytest.approx(9.0 / 48.0)
    assert value(femur, "neck_section_area") == pytest.approx(np.pi * 225.0, rel=0.005)


def test_a_neck_that_was_not_scanned_has_no_waist() -> None:
    femur = round_femur(neck_mm=np.full((len(HOURS), len(STATIONS)), np.nan))
    assert np.isnan(value(femur, "neck_waist.by_hour")).all()
    assert np.isnan(value(femur, "neck_section_area"))


def test_roundness_of_a_head_and_its_largest_residual() -> None:
    femur = round_femur()
    assert value(femur, "head_radius") == 24.0
    assert value(femur, "head_sphericity.rms") == pytest.approx(0.0, abs=1e-12)
    wavy = femur.radial_mm + np.where(femur.angles_deg > 85.0, 0.3, 0.0)
    rough = replace(femur, radial_mm=wavy)
    share = (1.0 + np.cos(np.radians(85.0))) / (1.0 + np.cos(np.radians(70.0)))  # of the zone
    assert value(rough, "head_sphericity.rms") == pytest.approx(0.3 * np.sqrt(share), abs=0.005)
    assert value(rough, "head_residual.maximum") == pytest.approx(0.3)


def test_offset_of_the_femur_and_height_of_the_trochanter() -> None:
    femur = round_femur()
    expected = 50.0 * np.sin(np.radians(130.0))
    assert value(femur, "femoral_offset.in_space") == pytest.approx(expected)
    tip = femur.greater_trochanter[2]
    assert value(femur, "trochanter_height") == pytest.approx(tip)


def test_all_draws_are_measured_in_one_call() -> None:
    one, other = round_femur(), round_femur(ball=BALL)
    both = replace(
        one,
        head_radius_mm=np.array([24.0, 24.0]),
        radial_mm=np.stack([one.radial_mm, other.radial_mm]),
        neck_mm=np.stack([one.neck_mm, other.neck_mm]),
    )
    for name in ("alpha_angle.radial", "cam_volume", "cam_height", "cam_extent.at_60"):
        together = value(both, name)
        assert together[0] == pytest.approx(value(one, name))
        assert together[1] == pytest.approx(value(other, name))


def test_values_between_hours_of_a_map_are_linear_and_go_around_the_clock() -> None:
    by_hour = np.arange(48.0)
    found = at_hours(by_hour, HOURS, np.array([12.0, 0.5, 0.125, 11.875]), -1)
    assert found == pytest.approx([0.0, 2.0, 0.5, 23.5])


def test_a_hip_without_a_femur_is_refused() -> None:
    with pytest.raises(DegenerateGeometryError, match="femur"):
        SPACE_CONSTRUCTIONS["head_radius"](HipInSpace(femur=None, socket=None))
