"""The check values T1 to T12, T41 and T43 of the project's imaging reference, section J.

Marks as there: [C] was computed by whoever wrote the reference, from plane geometry, apart
from this code; "verified" values were seen at the source. An excerpt lies in
``authorities/imaging_reference_checks.md``.
"""

import numpy as np
import pytest

from hipwright.catalog import load
from hipwright.domain.frames import FilmCircle, FilmContour, FilmPoint, film_hip_point
from hipwright.domain.quantities import Angle, Length
from hipwright.domain.side import Side
from hipwright.engines.anatomy.clock import hour_from_true_clock_of_left_hip
from hipwright.engines.imaging.calibration import magnification
from hipwright.engines.measurement.center_edge import lateral_center_edge_angle
from hipwright.engines.measurement.construction import constructions
from hipwright.engines.measurement.coverage import extrusion_index
from hipwright.engines.measurement.doubt import Doubt
from hipwright.engines.measurement.femur import neck_shaft_angle
from hipwright.engines.measurement.film_position import false_profile_rotation
from hipwright.engines.measurement.roof import fear_index
from hipwright.engines.measurement.shelf import CONSTRUCTIONS
from hipwright.engines.outcomes.agreement import detectable
from hipwright.phantoms.analytic_film import FilmMaking, lateral_film, pelvis_film
from hipwright.phantoms.analytic_hip import AnalyticFemur, AnalyticHip, AnalyticSocket
from tests.golden.readings_of_phantoms import measured

PRINTED_2 = 0.005  # the reference prints two decimals
PRINTED_3 = 0.0005  # and here three
FEW = Doubt(draws=20)


def at(lateral: float, superior: float) -> FilmPoint:
    return film_hip_point(lateral=lateral, superior=superior)


def degrees(value: object) -> float:
    assert isinstance(value, Angle)
    return value.degrees


def femur_reading(**shape: float) -> dict[str, float]:
    made = lateral_film(Side.RIGHT, AnalyticHip(femur=AnalyticFemur(**shape)))
    return {name: found.value for (name, _), found in measured(made, doubt=FEW).items()}


@pytest.mark.parametrize(
    ("lcea", "k", "percent"),
    [(25, 1.0, 28.9), (25, 1.10, 26.8), (25, 1.15, 25.7), (33, 1.15, 18.7), (20, 1.0, 32.9)],
)
def test_t1_extrusion_index_follows_from_the_center_edge_angle(
    lcea: float, k: float, percent: float
) -> None:
    """[C]."""
    radius, angle = 24.0, np.radians(lcea)
    head = FilmCircle(center=at(0, 0), radius=radius)
    rim = at(k * radius * np.sin(angle), k * radius * np.cos(angle))
    assert extrusion_index(head, rim) == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize(
    ("edge", "expected"), [((10.9881, 23.5640), 25.000), ((-4.0, 20.0), -11.310)]
)
def test_t2_center_edge_angle_of_two_edges(edge: tuple[float, float], expected: float) -> None:
    """[C]."""
    value = degrees(lateral_center_edge_angle(at(0, 0), at(*edge)))
    assert value == pytest.approx(expected, abs=PRINTED_3)


def test_t2_the_mirrored_film_gives_the_other_side_the_same_value() -> None:
    """[C]."""
    hip = AnalyticHip(socket=AnalyticSocket(lcea_sourcil_deg=25.0))
    name = "lateral_center_edge_angle.sourcil"
    for mirrored in (False, True):
        made = pelvis_film({Side.LEFT: hip, Side.RIGHT: hip}, making=FilmMaking(mirrored=mirrored))
        found = measured(made, doubt=FEW)
        assert [found[name, side].value for side in Side] == pytest.approx([25.0, 25.0])


def test_t3_fear_index_rises_one_for_one_with_adduction() -> None:
    """[C; the one-for-one verified at an abstract]."""

    def scar(rise_deg: float) -> tuple[FilmPoint, FilmPoint]:
        u, v = 8 * np.cos(np.radians(rise_deg)), 8 * np.sin(np.radians(rise_deg))
        return at(-u, -v), at(u, v)

    roof = at(0, 22), at(20, 22 + 20 * np.tan(np.radians(5)))
    assert degrees(fear_index(*roof, *scar(15))) == pytest.approx(-10.0)
    adducted_by = 5
    assert degrees(fear_index(*roof, *scar(15 - adducted_by))) == pytest.approx(-5.0)


def test_t4_obliquity_left_uncorrected_shifts_the_sides_against_each_other() -> None:
    """[C]. With one hip drawn there is no baseline, so the obliquity stays in."""
    hip, name = AnalyticHip(), "lateral_center_edge_angle.sourcil"
    rolled = FilmMaking(roll_deg=3.0)
    shifts: list[float] = []
    for side in Side:
        made = pelvis_film({side: hip}, making=rolled)
        shifts.append(measured(made, doubt=FEW)[name, side].value - 29.0)
    assert sorted(shifts) == pytest.approx([-3.0, 3.0])
    both = measured(pelvis_film({Side.LEFT: hip, Side.RIGHT: hip}, making=rolled), doubt=FEW)
    assert [both[name, side].value for side in Side] == pytest.approx([29.0, 29.0])


@pytest.mark.parametrize(("shift", "alpha"), [(0.0, 41.81), (2.0, 35.69), (-2.0, 48.59)])
def test_t5_alpha_of_a_sphere_on_a_cylinder(shift: float, alpha: float) -> None:
    """[C], by the anatomic axis: R 24, r 16."""
    value = femur_reading(axis_shift_mm=shift)["alpha_angle.anatomic"]
    assert value == pytest.approx(alpha, abs=PRINTED_2)


@pytest.mark.parametrize(
    ("ratio", "alpha"), [(0.13, 47.73), (0.14, 46.05), (0.17, 41.30), (0.19, 38.32), (0.24, 31.33)]
)
def test_t6_offset_ratio_and_alpha_are_one_finding(ratio: float, alpha: float) -> None:
    """[C]: α = asin(1 − 2·OR)."""
    found = femur_reading(neck_half_width_mm=24 * (1 - 2 * ratio))
    assert found["head_neck_offset_ratio"] == pytest.approx(ratio)
    assert found["alpha_angle.anatomic"] == pytest.approx(alpha, abs=PRINTED_2)


@pytest.mark.parametrize(
    ("alpha", "offset"), [(42, 7.94), (45, 7.03), (50, 5.61), (55, 4.34), (60, 3.22)]
)
def test_t7_offset_that_goes_with_an_alpha(alpha: float, offset: float) -> None:
    """[C]: 24·(1 − sin α)."""
    found = femur_reading(neck_half_width_mm=24 * np.sin(np.radians(alpha)))
    assert found["alpha_angle.anatomic"] == pytest.approx(alpha)
    assert found["head_neck_offset"] == pytest.approx(offset, abs=PRINTED_2)


@pytest.mark.parametrize(
    ("shift", "three_point", "anatomic"), [(2.0, 39.50, 35.69), (-2.0, 44.78, 48.59)]
)
def test_t8_the_two_axes_of_alpha(shift: float, three_point: float, anatomic: float) -> None:
    """[C]: R 24, r 16, L 30."""
    found = femur_reading(axis_shift_mm=shift)
    assert found["alpha_angle.three_point"] == pytest.approx(three_point, abs=PRINTED_2)
    assert found["alpha_angle.anatomic"] == pytest.approx(anatomic, abs=PRINTED_2)


def test_departure_finds_the_onset_late_by_as_much_as_the_reference_says() -> None:
    """[C]: section B.2, R 24, r 16: 40.77° at 0.5 mm and 37.98° at 2 mm."""
    found = femur_reading()
    half, two = "departure_half_mm", "departure_two_mm"
    assert found[f"alpha_angle.three_point.{half}"] == pytest.approx(40.77, abs=0.02)
    assert found[f"alpha_angle.three_point.{two}"] == pytest.approx(37.98, abs=0.02)


@pytest.mark.parametrize(
    ("height", "from_center"), [(20.785, 24.000), (23.065, 26.000)], ids=["round", "cam"]
)
def test_t9_triangular_index_of_a_round_and_of_a_raised_outline(
    height: float, from_center: float
) -> None:
    """[C]: R 24; ours is the distance less the radius."""
    index = constructions()["triangular_index"]
    head = FilmCircle(center=at(0, 0), radius=24)
    outline = FilmContour(points=(at(0, 24.5), at(12, height), at(30, 16)))
    value = index(head, at(30, 16), at(30, -16), outline)
    assert isinstance(value, Length)
    assert value.mm == pytest.approx(from_center - 24, abs=PRINTED_3)


def test_t10_magnification_of_two_distances() -> None:
    """[C]: SDD 1200, OID 150 and 200 mm."""
    detector = Length.from_mm(1200)
    assert magnification(detector, Length.from_mm(150)) == pytest.approx(1.1429, abs=5e-5)
    assert magnification(detector, Length.from_mm(200)) == pytest.approx(1.2000, abs=5e-5)


@pytest.mark.parametrize(("turn", "separation"), [(55, 100.4), (60, 87.5), (65, 74.0), (70, 59.9)])
def test_t11_false_profile_separation(turn: float, separation: float) -> None:
    """[C]: D 175; the other three from section A.2. 0.05 mm as printed is 0.02° here."""
    heads = [FilmCircle(center=center, radius=24) for center in (at(0, 0), at(-separation, 3))]
    value = degrees(false_profile_rotation(*heads))
    assert value == pytest.approx(turn, abs=0.03)


@pytest.mark.parametrize(("kappa", "nu", "projected"), [(130, 20, 131.76), (140, 30, 143.99)])
def test_t12_projected_neck_shaft_angle(kappa: float, nu: float, projected: float) -> None:
    """[C]. The neck is built in space, turned forward, and projected."""
    lean, turn = np.radians(kappa - 90), np.radians(nu)
    # From neck to head: medial (−u), up, and forward by the version; the film drops the last.
    u, v = -np.cos(lean) * np.cos(turn), np.sin(lean)
    neck = at(-40 * u, -40 * v)
    value = degrees(neck_shaft_angle(at(0, 0), neck, neck, at(50, -60), at(50, -160)))
    assert value == pytest.approx(projected, abs=PRINTED_2)


def test_t39_and_t40_stand_in_the_catalog() -> None:
    """Verified at the papers' abstracts; used as data only."""
    catalog = load()
    center_edge = catalog.measurement("lateral_center_edge_angle.rim").population[0]
    assert (center_edge.mean, center_edge.low, center_edge.high) == (33.6, 18.1, 48.0)
    roof = catalog.measurement("roof_angle.tonnis").population[0]
    assert (roof.mean, roof.low, roof.high) == (4.4, -6.9, 14.9)
    space = catalog.measurement("joint_space.apical").population[0]
    assert (space.mean, space.sd) == (4.19, 0.92)


@pytest.mark.parametrize(("true_clock", "ours"), [(10, 2), (9, 3), (12, 12), (6, 6)])
def test_t41_a_left_hips_true_clock_is_mirrored(true_clock: float, ours: float) -> None:
    """[C]; the reflection is its own inverse."""
    assert hour_from_true_clock_of_left_hip(true_clock) == ours
    assert hour_from_true_clock_of_left_hip(ours) == true_clock


@pytest.mark.parametrize(("sem", "limit"), [(1, 2.77), (1.5, 4.16), (2, 5.54), (3, 8.32)])
def test_t43_smallest_detectable_change(sem: float, limit: float) -> None:
    """[C]: 1.96·√2·SEM."""
    assert detectable(sem) == pytest.approx(limit, abs=PRINTED_2)


def test_every_check_ran_on_the_constructions_of_the_shelf() -> None:
    assert constructions() == CONSTRUCTIONS
