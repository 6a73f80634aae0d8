"""Truth of the analytic hips in space, against closed forms, sums and the reference's values.

T12 to T19, T29 and T45 are check values of the imaging reference (section J there, marked
[C]: computed). Nothing here asks an engine: how those measure these hips stands in modules
of their own.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from hipwright.domain.side import Side
from hipwright.phantoms.analytic_bone_femur import BallBump, FemurForm
from hipwright.phantoms.analytic_bone_socket import RimWave, SocketForm
from hipwright.phantoms.analytic_bone_truth import (
    cam_size,
    center_edge_deg,
    coverage_percent,
    truth_of,
    version_deg,
)
from hipwright.phantoms.analytic_bones import HIP_FORMS, HipForm, analytic_hip_3d
from hipwright.phantoms.closed_forms import (
    SocketAngles,
    TwoSphereBump,
    cap_half_angle_deg,
    cap_share,
    oblique_version_deg,
    projected_neck_shaft_deg,
    version_from_sectors_deg,
)
from tests.analytic_hips import hip_of

HUNDREDTH = 0.006
HOURS = np.arange(0.0, 12.0, 0.5)
BUMP = BallBump(angle_deg=66.0, hour=1.5)
PLANAR = SocketForm(inclination_deg=53.0, anteversion_deg=18.0, rim_deg=76.0)


@pytest.mark.parametrize(("kappa", "nu", "expected"), [(130, 20, 131.76), (140, 30, 143.99)])
def test_projected_neck_shaft_angle_has_the_values_of_t12(kappa, nu, expected):
    assert projected_neck_shaft_deg(kappa, nu) == pytest.approx(expected, abs=HUNDREDTH)


@pytest.mark.parametrize(
    ("kappa", "nu", "expected"), [(130, 20, 15.19), (125, 15, 12.24), (130, -5, -3.83)]
)
def test_oblique_version_has_the_values_of_t13(kappa, nu, expected):
    assert oblique_version_deg(kappa, nu) == pytest.approx(expected, abs=HUNDREDTH)


def test_socket_angles_have_the_values_of_t14_to_t17():
    one = SocketAngles.radiographic(45.0, 20.0)
    assert one.anatomical_inclination_deg == pytest.approx(48.359, abs=1e-3)
    assert one.anatomical_anteversion_deg == pytest.approx(27.236, abs=1e-3)
    assert one.operative_inclination_deg == pytest.approx(41.641, abs=1e-3)
    assert one.operative_anteversion_deg == pytest.approx(27.236, abs=1e-3)
    two = SocketAngles.radiographic(40.0, 15.0)
    assert two.anatomical_inclination_deg == pytest.approx(42.274, abs=1e-3)
    assert two.anatomical_anteversion_deg == pytest.approx(22.629, abs=1e-3)
    assert two.operative_inclination_deg == pytest.approx(38.381, abs=1e-3)
    assert two.operative_anteversion_deg == pytest.approx(19.279, abs=1e-3)
    three = SocketAngles.anatomical(53.0, 18.0)
    assert three.radiographic_inclination_deg == pytest.approx(51.609, abs=1e-3)
    assert three.radiographic_anteversion_deg == pytest.approx(14.288, abs=1e-3)
    assert three.operative_inclination_deg == pytest.approx(49.424, abs=1e-3)
    assert three.operative_anteversion_deg == pytest.approx(22.298, abs=1e-3)
    tilted = three.tilted_forward(10.0)
    assert tilted.operative_anteversion_deg == pytest.approx(12.298, abs=1e-3)
    assert tilted.operative_inclination_deg == pytest.approx(49.424, abs=1e-3)
    assert tilted.radiographic_anteversion_deg == pytest.approx(7.96, abs=HUNDREDTH)
    assert tilted.radiographic_inclination_deg == pytest.approx(50.08, abs=HUNDREDTH)
    assert tilted.anatomical_anteversion_deg == pytest.approx(10.34, abs=HUNDREDTH)


def test_sectors_and_caps_have_the_values_of_t18_and_t19():
    assert version_from_sectors_deg(63.0, 105.0) == pytest.approx(21.0)
    assert cap_half_angle_deg(0.40) == pytest.approx(78.46, abs=HUNDREDTH)
    assert cap_half_angle_deg(0.362) == pytest.approx(73.98, abs=HUNDREDTH)
    assert cap_share(90.0) == pytest.approx(0.5)


def test_two_spheres_have_the_values_of_t29():
    bump = TwoSphereBump(head_radius_mm=24.0, ball_radius_mm=10.0, apart_mm=17.0)
    assert bump.height_mm == pytest.approx(3.0)
    assert bump.volume_mm3 == pytest.approx(374.6, abs=0.05)
    assert bump.edge_half_angle_deg == pytest.approx(20.364, abs=1e-3)


def test_a_bump_at_sixty_degrees_begins_and_ends_where_t45_says():
    """T45 gives its edge toward the neck, 39.64°; coming from the head it begins at 80.36°."""
    femur = FemurForm(bumps=(BallBump(angle_deg=60.0, hour=3.0),), neck_radius_mm=10.0)
    ends = 24.00001 * femur.directions(np.arange(20.0, 100.0, 0.001), 3.0)
    stands_out = np.flatnonzero(femur.field(ends) <= 0.0)
    beyond_neck = stands_out[stands_out > 10_000]
    assert 20.0 + 0.001 * beyond_neck[0] == pytest.approx(39.64, abs=0.01)
    assert femur.alpha_deg(np.array([3.0]))[0] == pytest.approx(80.364, abs=0.01)


@pytest.mark.parametrize(("shift", "expected"), [(0.0, 41.81), (2.0, 35.69), (-2.0, 48.59)])
def test_alpha_of_sphere_and_cylinder_has_the_values_of_t5(shift, expected):
    femur = FemurForm(neck_shift_mm=shift)
    assert femur.alpha_deg(np.array([12.0]))[0] == pytest.approx(expected, abs=HUNDREDTH)


@pytest.mark.parametrize("departure", [0.0, 0.5, 1.0, 2.0])
def test_radial_alpha_by_the_field_is_the_closed_form_at_every_hour(departure):
    femur = FemurForm(bumps=(BUMP,), neck_shift_mm=1.0, version_deg=22.0)
    neck = femur.alpha_of_neck_deg(HOURS, departure)
    bump = femur.alpha_of_bump_deg(BUMP, HOURS, departure)
    np.testing.assert_allclose(femur.alpha_deg(HOURS, departure), np.fmax(neck, bump), atol=2e-3)


def test_volume_and_height_of_a_bump_by_the_field_are_those_of_two_spheres():
    tall, volume = cam_size(FemurForm(bumps=(BUMP,)), step_deg=0.25)
    assert tall == pytest.approx(3.0, abs=1e-3)
    assert volume == pytest.approx(374.635, rel=1e-3)


def test_radial_distances_are_those_of_sphere_bump_and_neck():
    femur = FemurForm(bumps=(BUMP,))
    found = femur.radial_mm(np.array([1.5, 9.0]), np.array([66.0, 100.0, 41.0, 10.0]))
    np.testing.assert_allclose(found[0, :2], [27.0, 24.0], atol=1e-6)
    np.testing.assert_allclose(
        found[1, :3], [24.0, 24.0, 16.0 / np.sin(np.radians(41))], atol=1e-6
    )
    assert np.isnan(found[:, 3]).all()  # along the neck there is no end


def test_murphy_version_differs_where_the_shaft_lies_before_the_neck():
    straight = FemurForm(version_deg=20.0)
    assert straight.murphy_version_deg == pytest.approx(20.0)
    forward = FemurForm(version_deg=20.0, shaft_forward_mm=5.0)
    flat = forward.neck_length_mm * np.sin(np.radians(forward.neck_shaft_deg))
    assert forward.murphy_version_deg == pytest.approx(20.0 - np.degrees(np.arctan(5.0 / flat)))


@pytest.mark.parametrize("kind", HIP_FORMS)
def test_landmarks_carry_the_angles_that_the_femur_was_built_with(kind):
    """Version and neck–shaft angle from points alone, by vectors."""
    form = HIP_FORMS[kind]
    marks = {k: form.pose @ v for k, v in form.femur.landmarks().items()}
    shaft = marks["shaft_proximal"] - marks["shaft_distal"]
    shaft /= np.linalg.norm(shaft)
    flat = np.eye(3) - np.outer(shaft, shaft)
    condyles = flat @ (marks["posterior_condyle_lateral"] - marks["posterior_condyle_medial"])
    neck = form.pose @ -form.femur.axis
    off = flat @ neck
    ahead = np.cross(shaft, condyles)
    version = np.degrees(np.arctan2(off @ ahead / np.linalg.norm(ahead), -off @ condyles /
                                    np.linalg.norm(condyles)))  # fmt: skip
    assert version == pytest.approx(form.femur.version_deg, abs=1e-9)
    angle = np.degrees(np.arccos(neck @ -shaft))
    assert angle == pytest.approx(form.femur.neck_shaft_deg, abs=1e-9)


def test_a_flat_round_rim_has_one_version_at_every_height():
    for height in (-5.0, 0.0, 8.0, 15.0):
        assert version_deg(PLANAR, height) == pytest.approx(18.0, abs=1e-3)


def test_a_flat_round_rim_has_sectors_that_differ_by_twice_its_version():
    truth = truth_of(FemurForm(), PLANAR, np.eye(3))
    version = version_from_sectors_deg(truth["anterior_sector_deg"], truth["posterior_sector_deg"])
    assert version == pytest.approx(18.0, abs=1e-3)
    assert truth["horizontal_sector_deg"] == pytest.approx(
        truth["anterior_sector_deg"] + truth["posterior_sector_deg"]
    )


def test_coverage_of_a_flat_round_rim_is_that_of_a_cap():
    whole, quarters = coverage_percent(PLANAR)
    assert whole == pytest.approx(100 * cap_share(76.0), abs=1e-4)
    np.testing.assert_allclose(quarters, 100 * cap_share(76.0), atol=1e-4)


def test_coverage_of_a_wavy_rim_is_what_scattered_points_say():
    socket = SocketForm(
        waves=(RimWave(count=2, hour=10.5, degrees=-4.0), RimWave(count=3, hour=8.0, degrees=3.0)),
        center_mm=(0.8, -0.5, 0.9),
    )
    rng = np.random.default_rng(4)
    ways = rng.standard_normal((400_000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    _, rim = socket.whole_crest
    seen = rim / np.linalg.norm(rim, axis=1)[:, None]
    edge = np.arccos(-seen @ socket.opening)
    turn = np.arctan2(seen @ socket.three, seen @ socket.twelve) % (2 * np.pi)
    order = np.argsort(turn)
    own = np.arctan2(ways @ socket.three, ways @ socket.twelve) % (2 * np.pi)
    inside = np.arccos(-ways @ socket.opening) < np.interp(
        own, turn[order], edge[order], period=2 * np.pi
    )
    whole, quarters = coverage_percent(socket)
    assert whole == pytest.approx(100 * inside.mean(), abs=0.3)  # 4 SD of 400,000 points
    for k in range(4):
        quarter = (own >= k * np.pi / 2) & (own < (k + 1) * np.pi / 2)
        assert quarters[k] == pytest.approx(100 * inside[quarter].mean(), abs=0.6)


@pytest.mark.parametrize("azimuth", [-45.0, 0.0, 30.0, 60.0, 90.0])
def test_center_edge_angles_of_a_flat_round_rim_solve_the_cap(azimuth):
    """A direction c from straight up lies on the rim where its dot with the opening is −cos."""
    found = center_edge_deg(PLANAR.whole_crest[1], azimuth)
    a, c = np.radians([azimuth, found])
    way = np.array([np.sin(c) * np.cos(a), np.sin(c) * np.sin(a), np.cos(c)])
    assert way @ PLANAR.opening == pytest.approx(-np.cos(np.radians(76.0)), abs=1e-5)


@pytest.mark.parametrize("kind", ["cam_anterosuperior", "dysplastic"])
def test_surfaces_are_closed_and_lie_on_their_fields(kind):
    hip = hip_of(kind)
    home = hip.femur.vertices @ hip.form.pose
    for surface, field, points in (
        (hip.femur, hip.form.femur.field, home),
        (hip.hip_bone, hip.form.socket.field, hip.hip_bone.vertices),
    ):
        assert surface.is_closed
        assert surface.volume_mm3 > 0
        mesh = trimesh.Trimesh(surface.vertices, surface.faces, process=False)
        assert mesh.body_count == 1
        near = np.linalg.norm(surface.vertices, axis=1) < 30.0
        off = np.abs(field(points[near]))
        assert np.median(off) < 0.01
        assert np.quantile(off, 0.99) < 0.3  # beveled creases of a 0.8 mm grid


def test_the_smallest_gap_of_the_surfaces_is_the_one_of_the_spheres():
    hip = hip_of("dysplastic")
    away, _ = cKDTree(hip.femur.vertices).query(hip.hip_bone.vertices)
    assert np.min(away) == pytest.approx(hip.truth["smallest_gap_mm"], abs=0.1)


def test_a_left_hip_is_the_mirror_of_the_right_one():
    hip = hip_of("dysplastic")
    center = np.array([0.0, 12.0, -30.0])
    right = hip.in_patient_lps(Side.RIGHT, center)
    left = hip.in_patient_lps(Side.LEFT, center)
    for name in ("femur", "hip_bone"):
        np.testing.assert_array_equal(left[name].vertices, right[name].vertices * [-1.0, 1.0, 1.0])
        assert left[name].volume_mm3 == pytest.approx(right[name].volume_mm3)
    marks = hip.landmarks_in_patient_lps(Side.LEFT, center)
    spine = marks["anterior_superior_iliac_spine"]
    assert spine[0] > center[0]  # lateral of a left hip is to the left
    assert spine[1] < center[1]  # and the spine lies before the head


@pytest.mark.slow
def test_kinds_differ_in_what_they_are_named_after():
    truths = {k: truth_of(f.femur, f.socket, f.pose) for k, f in HIP_FORMS.items()}
    plain = truths["normal"]
    assert plain["alpha_max_deg"] < 45.0
    assert plain["cam_volume_mm3"] == 0.0
    assert truths["cam_anterosuperior"]["cam_volume_mm3"] == pytest.approx(374.6, rel=2e-3)
    assert truths["cam_superior"]["alpha_max_hour"] == pytest.approx(0.0)
    assert truths["pincer"]["lateral_center_edge_deg"] > 40.0
    assert truths["dysplastic"]["lateral_center_edge_deg"] < 20.0
    assert truths["retroverted"]["version_at_height_deg"].max() < 0.0
    assert truths["valgus_high_version"]["version_deg"] > 35.0
    assert truths["after_resection"]["alpha_max_deg"] == pytest.approx(plain["alpha_max_deg"])
    partly = truths["after_partial_resection"]
    assert 0.0 < partly["cam_volume_mm3"] < truths["cam_anterosuperior"]["cam_volume_mm3"]


def test_a_hip_of_ones_own_is_made_like_the_named_ones():
    hip = analytic_hip_3d(
        "own", steps_mm=(1.6, 6.0), form=HipForm(socket=PLANAR, internal_rotation_deg=10.0)
    )
    assert hip.kind == "own"
    knee = hip.form.pose @ hip.form.femur.knee
    np.testing.assert_allclose(knee[:2], 0.0, atol=1e-9)  # the mechanical axis stands upright
    assert hip.truth["version_deg"] == 15.0
