"""Width and fit of round joints, and what stands outside of them, in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.hip_turns import tilted
from hipwright.engines.anatomy.socket_draws import drawn_socket
from hipwright.engines.anatomy.socket_survey import map_places
from hipwright.engines.anatomy.space_doubt import SpaceDoubt
from tests.unit.engines.measurement.round_sockets import (
    HEAD,
    RADIUS,
    measured,
    placed,
    round_socket,
)

SPINE_TIP, SPINE_END = "anterior_inferior_iliac_spine", "anterior_inferior_spine_lower_end"
DOUBT = SpaceDoubt(edge_sd_mm=0.15, edge_bias_sd_mm=0.1, count=400)


def off_center(shift: tuple[float, float, float]):
    """A joint whose head's center lies off: the width follows from the distance to it."""
    socket = round_socket()
    width = np.linalg.norm(map_places(socket) - np.array(shift), axis=-1) - HEAD
    return replace(socket, gap_mm=width)


def test_an_even_joint_has_its_width_everywhere():
    socket = round_socket()
    for definition in ("joint_space.in_space.minimum", "joint_space.in_space.mean"):
        assert measured(definition, socket) == pytest.approx(RADIUS - HEAD, abs=1e-9)
    by_hour = measured("joint_space.in_space.by_hour", socket)
    np.testing.assert_allclose(by_hour, RADIUS - HEAD, atol=1e-9)


def test_a_head_that_has_moved_up_narrows_the_joint_there():
    socket = off_center((0.3, 0.0, 0.9))
    width = np.asarray(socket.gap_mm)
    smallest = measured("joint_space.in_space.minimum", socket)
    assert np.nanmin(width) < smallest < np.nanmin(width) + 0.02
    assert smallest < measured("joint_space.in_space.mean", socket) < np.nanmax(width)
    by_hour = measured("joint_space.in_space.by_hour", socket)
    assert np.nanargmin(by_hour) == 4  # hours 8, 9, 10, 11, 12, …
    assert np.isfinite(by_hour).all()


def test_a_joint_without_a_femur_has_no_width():
    socket = replace(round_socket(), gap_mm=np.full_like(round_socket().gap_mm, np.nan))
    for name in ("minimum", "mean", "by_hour"):
        assert np.isnan(measured(f"joint_space.in_space.{name}", socket)).all()


def test_radius_and_distance_of_the_centers_are_read_off_the_spheres():
    socket = replace(round_socket(), center=np.array([0.3, -0.4, 1.2]))
    assert measured("socket_radius", socket) == RADIUS
    assert measured("joint_congruence", socket) == pytest.approx(1.3, abs=1e-12)


def test_noise_of_the_surface_alone_narrows_no_joint():
    socket = round_socket()
    drawn = drawn_socket(socket, np.random.default_rng(5), DOUBT)
    widths = measured("joint_space.in_space.minimum", drawn)
    assert widths[0] == pytest.approx(RADIUS - HEAD, abs=1e-9)
    # mirrored pairs: the mean of the draws is the surveyed value
    assert widths[1:].mean() == pytest.approx(RADIUS - HEAD, abs=1e-6)
    # two bones' shifts of 0.1 mm and their noise of 0.15 mm, the latter eased over 20 mm²
    assert 0.14 < widths.std() < np.sqrt(2) * np.hypot(0.1, 0.15)


def test_spine_is_as_far_from_the_rim_as_its_nearest_place():
    socket = round_socket()
    out = socket.rim[6] / RADIUS  # half past twelve
    near = placed(socket, **{SPINE_TIP: tuple(socket.rim[6] + 20 * out)})
    # on the ray through a place of a sphere's rim no other place of it is nearer
    assert measured("anterior_inferior_spine_to_rim", near) == pytest.approx(20.0, abs=1e-9)
    assert np.isnan(measured("anterior_inferior_spine_to_rim", socket))


@pytest.mark.parametrize("above", [9.0, 0.0, -6.0])
def test_level_of_the_spine_is_its_height_over_the_rim_at_its_hour(above):
    socket = round_socket()
    rim = socket.rim[12]  # one o'clock
    # along the opening's axis and outward the hour stays; the height is set by the axis
    ring = rim - (rim @ socket.opening) * socket.opening
    ring /= np.linalg.norm(ring)
    along = (above - 15 * ring[2]) / socket.opening[2]
    low = rim + 15 * ring + along * socket.opening
    found = measured("anterior_inferior_spine_level", placed(socket, **{SPINE_END: tuple(low)}))
    assert found == pytest.approx(above, abs=1e-6)


def test_level_of_the_spine_changes_with_tilt_and_its_distance_does_not():
    socket = round_socket()
    socket = placed(socket, **{SPINE_END: (12.0, 35.0, 30.0), SPINE_TIP: (12.0, 35.0, 33.0)})
    hip = HipInSpace(femur=None, socket=socket)
    turned = tilted(hip, 10.0)
    level, distance = "anterior_inferior_spine_level", "anterior_inferior_spine_to_rim"
    assert measured(level, turned) != pytest.approx(measured(level, hip), abs=0.1)
    assert measured(distance, turned) == pytest.approx(measured(distance, hip), abs=1e-9)


def test_ischiofemoral_space_is_the_surveys():
    socket = replace(round_socket(), ischiofemoral_mm=np.array(21.5))
    assert measured("ischiofemoral_space.in_space", socket) == 21.5
