"""Measurements of a socket whose values follow from spheres and circles alone.

T14 to T19 are check values of the imaging reference (section J there, computed from
Murray's definitions and from caps of spheres).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.hip_turns import tilted
from hipwright.engines.anatomy.socket_clock import directions
from hipwright.engines.measurement.space_acetabulum import socket_of
from hipwright.engines.measurement.space_murray import (
    anatomical_deg,
    opening_from_anatomical,
    opening_from_operative,
    opening_from_radiographic,
    operative_deg,
    radiographic_deg,
)
from tests.unit.engines.measurement.round_sockets import (
    FOSSA_DEG,
    HOURS,
    RADIUS,
    measured,
    placed,
    round_socket,
)

EXACT = 1e-6
CUBIC = 1e-5  # of a cubic through four places of the rim, 2.5° apart
HUNDREDTH = 0.006
THOUSANDTH = 6e-4

LEVELS = (
    "acetabular_version.equatorial",
    "acetabular_version.two_oclock",
    "acetabular_version.one_oclock",
    "acetabular_version.plane",
)


@pytest.mark.parametrize(
    ("radiographic", "anatomical", "operative"),
    [  # T14, T15, T16: inclination and anteversion of one socket, named three ways
        ((45.0, 20.0), (48.359, 27.236), (41.641, 27.236)),
        ((40.0, 15.0), (42.274, 22.629), (38.381, 19.279)),
        ((51.609, 14.288), (53.0, 18.0), (49.424, 22.298)),
    ],
)
def test_murrays_three_ways_of_naming_a_socket_agree(radiographic, anatomical, operative):
    opening = opening_from_radiographic(*map(np.array, radiographic))
    np.testing.assert_allclose(anatomical_deg(opening), anatomical, atol=THOUSANDTH)
    np.testing.assert_allclose(operative_deg(opening), operative, atol=THOUSANDTH)
    np.testing.assert_allclose(radiographic_deg(opening), radiographic, atol=1e-9)
    for way, angles in (
        (opening_from_anatomical, anatomical),
        (opening_from_operative, operative),
    ):
        np.testing.assert_allclose(way(*map(np.array, angles)), opening, atol=2e-5)


def test_ten_degrees_of_forward_tilt_open_the_socket_as_the_reference_computes():
    # T17: T16 tilted forward by 10°
    hip = tilted(HipInSpace(femur=None, socket=round_socket(inclination=53, anteversion=18)), 10)
    opening = socket_of(hip).opening
    np.testing.assert_allclose(operative_deg(opening), (49.424, 12.298), atol=THOUSANDTH)
    np.testing.assert_allclose(radiographic_deg(opening), (50.08, 7.96), atol=HUNDREDTH)
    assert measured("acetabular_version.plane", hip) == pytest.approx(10.34, abs=HUNDREDTH)
    assert hip.tilt_deg == 10


@pytest.mark.parametrize("anteversion", [-12.0, 0.0, 20.0, 35.0])
@pytest.mark.parametrize("definition", LEVELS)
def test_version_of_a_flat_round_rim_is_the_same_at_every_level(definition, anteversion):
    socket = round_socket(anteversion=anteversion)
    assert measured(definition, socket) == pytest.approx(anteversion, abs=EXACT)


def test_inclination_of_the_plane_is_that_of_its_normal():
    found = measured("acetabular_inclination.plane", round_socket(inclination=43.5))
    assert found == pytest.approx(43.5, abs=1e-9)


@pytest.mark.parametrize("rim_deg", [62.0, 80.0, 96.0])
def test_center_edge_angle_by_hour_of_a_round_rim_is_its_half_angle(rim_deg):
    found = measured("center_edge_angle.by_hour", round_socket(rim_deg=rim_deg))
    np.testing.assert_allclose(found, rim_deg, atol=EXACT)


def highest_root(place: Callable[[float], np.ndarray], off: Callable[[float], float]):
    """Of the places where a function of a turn vanishes, the highest: by a root finder."""
    turns = np.linspace(0.0, 2 * np.pi, 181)
    values = [off(t) for t in turns]
    pairs = zip(turns, turns[1:], values, values[1:], strict=False)
    roots = [brentq(off, a, b, xtol=1e-13) for a, b, u, v in pairs if u * v < 0]
    return max((place(root) for root in roots), key=lambda at: at[2])


def exact_edge(rim_deg: float, axis: int) -> np.ndarray:
    """Where the round rim crosses the plane of an axis."""
    opening = opening_from_anatomical(np.array(50.0), np.array(20.0))

    def place(turn: float) -> np.ndarray:
        hour = np.array(turn * 6 / np.pi)
        return RADIUS * directions(opening, np.radians(np.array(rim_deg)), hour)

    return highest_root(place, lambda turn: place(turn)[axis])


@pytest.mark.parametrize("rim_deg", [62.0, 80.0, 96.0])
def test_center_edge_angles_in_planes_are_those_of_the_circle(rim_deg):
    socket = round_socket(rim_deg=rim_deg)
    lateral = exact_edge(rim_deg, 1)
    anterior = exact_edge(rim_deg, 0)
    expected = np.degrees(np.arctan2(lateral[0], lateral[2]))
    assert measured("center_edge_angle.lateral_in_space", socket) == pytest.approx(
        expected, abs=CUBIC
    )
    expected = np.degrees(np.arctan2(anterior[1], anterior[2]))
    assert measured("center_edge_angle.anterior_in_space", socket) == pytest.approx(
        expected, abs=CUBIC
    )


def test_each_degree_of_forward_tilt_adds_one_to_the_anterior_center_edge_angle():
    hip = HipInSpace(femur=None, socket=round_socket())
    before = measured("center_edge_angle.anterior_in_space", hip)
    after = measured("center_edge_angle.anterior_in_space", tilted(hip, 7.0))
    assert after - before == pytest.approx(7.0, abs=EXACT)


@pytest.mark.parametrize(("share", "half_angle"), [(40.0, 78.46), (36.2, 73.98), (50.0, 90.0)])
def test_coverage_of_a_cap_is_its_share_of_the_sphere(share, half_angle):
    # T19: half angle of a cap = acos(1 − 2 f)
    exact = np.degrees(np.arccos(1 - 2 * share / 100))
    assert exact == pytest.approx(half_angle, abs=HUNDREDTH)
    socket = round_socket(rim_deg=float(exact), notch=(5.3, 6.7))
    for part in ("total", "anterosuperior", "anteroinferior", "posteroinferior"):
        assert measured(f"head_coverage.{part}", socket) == pytest.approx(share, abs=EXACT)


def test_coverage_in_total_is_the_mean_of_its_quarters_and_keeps_through_a_tilt():
    waves = np.radians(80 + 5 * np.cos(HOURS * np.pi / 3) + 3 * np.sin(HOURS * np.pi / 6))
    socket = round_socket()
    socket = replace(socket, rim=RADIUS * directions(socket.opening, waves, HOURS))
    hip = HipInSpace(femur=None, socket=socket)
    quarters = ("anterosuperior", "anteroinferior", "posteroinferior", "posterosuperior")
    parts = [measured(f"head_coverage.{name}", hip) for name in quarters]
    total = measured("head_coverage.total", hip)
    assert np.mean(parts) == pytest.approx(total, abs=1e-9)
    assert np.ptp(parts) > 1
    # Archimedes: the share is the mean of (1 − cos) / 2 over the turns
    assert total == pytest.approx(50 * (1 - np.cos(waves)).mean(), abs=1e-3)
    assert measured("head_coverage.total", tilted(hip, 12.0)) == pytest.approx(total, abs=1e-3)


def with_equator(front_deg: float, back_deg: float):
    """A rim that meets the equator at two angles from medial, as Anda draws them."""
    turn = np.radians(HOURS * 30)
    level = np.interp(HOURS, [0, 3, 6, 9, 12], [0, front_deg, 180, 360 - back_deg, 360])
    way = np.radians(level)
    flat = np.stack([-np.cos(way), np.sin(way), np.cos(turn)], axis=-1)
    return replace(round_socket(), rim=RADIUS * flat)


def test_sector_angles_give_half_their_difference_as_equatorial_version():
    socket = with_equator(63.0, 105.0)  # T18, Anda's means
    assert measured("anterior_sector_angle", socket) == pytest.approx(63.0, abs=EXACT)
    assert measured("posterior_sector_angle", socket) == pytest.approx(105.0, abs=EXACT)
    assert measured("horizontal_sector_angle", socket) == pytest.approx(168.0, abs=EXACT)
    version = measured("acetabular_version.equatorial", socket)
    assert version == pytest.approx(21.0, abs=EXACT)


def test_sector_angles_count_from_the_line_to_the_other_head_where_it_was_scanned():
    socket = with_equator(63.0, 105.0)
    slant = np.radians(4.0)
    other = (-170 * np.cos(slant), 170 * np.sin(slant), 0.0)
    turned = placed(socket, opposite_head_center=other)
    assert measured("anterior_sector_angle", turned) == pytest.approx(59.0, abs=EXACT)
    assert measured("posterior_sector_angle", turned) == pytest.approx(109.0, abs=EXACT)


def test_roof_rises_from_the_border_of_the_fossa_to_the_end_of_the_surface():
    socket = round_socket()
    lateral = exact_edge(80.0, 1)
    fossa = directions(socket.opening, np.radians(np.array(40.0)), np.array(6.0))

    def place(turn: float) -> np.ndarray:
        return RADIUS * np.array([np.sin(turn), 0.0, np.cos(turn)])

    edge = RADIUS * np.cos(np.radians(FOSSA_DEG))
    medial = highest_root(place, lambda turn: float(place(turn) @ fossa) - edge)
    rise = lateral - medial
    expected = np.degrees(np.arctan2(rise[2], rise[0]))
    # a border of 72 places on a small circle: cubics through it are good to a thousandth
    found = measured("roof_inclination.in_space", socket)
    assert found == pytest.approx(expected, abs=1e-3)


def test_what_the_rim_does_not_reach_is_not_measured():
    socket = round_socket(notch=(4.0, 12.5))
    assert np.isnan(measured("acetabular_version.equatorial", socket))
    assert np.isnan(measured("center_edge_angle.lateral_in_space", socket))
    by_hour = measured("center_edge_angle.by_hour", round_socket(notch=(9.2, 10.1)))
    assert np.isnan(by_hour).sum() == 2  # at 9:30 and 10:00
    gone = replace(socket, rim=np.full_like(socket.rim, np.nan))
    for definition in ("head_coverage.total", "center_edge_angle.by_hour"):
        assert np.isnan(measured(definition, gone)).all()


def test_a_rim_below_or_behind_the_head_center_has_no_center_edge_angle():
    low = replace(round_socket(), head_center=np.array([0.0, 0.0, 60.0]))
    assert np.isnan(measured("center_edge_angle.lateral_in_space", low))
    ahead = replace(round_socket(), head_center=np.array([0.0, 60.0, 0.0]))
    assert np.isnan(measured("center_edge_angle.anterior_in_space", ahead))


def test_a_hip_without_a_socket_is_refused_by_the_kernels_themselves():
    with pytest.raises(ValueError, match="a socket is needed"):
        socket_of(HipInSpace(femur=None, socket=None))


def test_many_hips_at_once_measure_as_they_do_alone():
    alone = [round_socket(rim_deg=rim, anteversion=v) for rim, v in ((70, 5), (80, 20), (91, -8))]
    fields = ("head_center", "center", "opening", "rim", "lunate_outer", "fossa_edge")
    names = (*fields, "radius_mm", "head_radius_mm", "surface_mm", "gap_mm", "ischiofemoral_mm")
    stacked = {name: np.stack([getattr(s, name) for s in alone]) for name in names}
    points = {k: np.stack([s.points[k] for s in alone]) for k in alone[0].points}
    together = replace(alone[0], points=points, **stacked)
    for definition in (*LEVELS, "center_edge_angle.lateral_in_space", "head_coverage.total"):
        expected = [measured(definition, s) for s in alone]
        np.testing.assert_allclose(measured(definition, together), expected, atol=1e-12)
    by_hour = measured("center_edge_angle.by_hour", together)
    assert by_hour.shape == (3, 17)
    np.testing.assert_allclose(by_hour[:, 3], [70, 80, 91], atol=EXACT)
