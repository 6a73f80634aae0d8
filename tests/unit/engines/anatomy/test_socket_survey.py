"""A socket surveyed on meshes whose every number is known, its draws and its turns."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from hipwright.domain.anatomy import Surface
from hipwright.domain.errors import FrameMismatchError
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.side import Side
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.hip_turns import tilt_rotation, tilted, turned, turned_socket
from hipwright.engines.anatomy.socket_clock import clock_axes, directions, polar
from hipwright.engines.anatomy.socket_draws import drawn_socket
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.anatomy.socket_rim import RimCrest
from hipwright.engines.anatomy.socket_sphere import _fit
from hipwright.engines.anatomy.socket_spine import spine_lower_end
from hipwright.engines.anatomy.socket_survey import map_places, survey_socket
from hipwright.engines.anatomy.space_doubt import SpaceDoubt, small_turns
from hipwright.engines.geometry.mesh_tree import mesh_tree
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS
from hipwright.phantoms.analytic_bone_socket import SocketForm
from hipwright.phantoms.analytic_bones import HipForm, analytic_hip_3d
from tests.analytic_hips import hip_of

FRAME = Frame(FrameKind.HIP_CANONICAL, "phantom/right")
LPS = Frame(FrameKind.PATIENT_LPS, "phantom")
SPINE = "anterior_inferior_iliac_spine"
EDGE_MM = 0.8  # one cube: marching cubes round off the sharp rim
ALL = [
    name
    for name, construction in SPACE_CONSTRUCTIONS.items()
    if construction.kernel.__module__.rsplit(".", 1)[-1]
    in {"space_acetabulum", "space_acetabulum_coverage", "space_joint"}
]


def phantom():
    return hip_of("retroverted")


def surface(bone, frame: Frame = FRAME) -> Surface:
    return Surface(vertices=bone.vertices, faces=bone.faces, frame=frame)


@cache
def survey() -> SocketInSpace:
    hip = phantom()
    marks = {SPINE: hip.landmarks[SPINE]}
    marks["opposite_head_center"] = hip.landmarks["opposite_femoral_head_center"]
    return survey_socket(
        surface(hip.hip_bone),
        surface(hip.femur),
        head_center=np.zeros(3),
        head_radius_mm=float(hip.truth["head_radius_mm"]),
        landmarks=marks,
    )


def measured(name: str, socket: SocketInSpace) -> np.ndarray:
    return SPACE_CONSTRUCTIONS[name](HipInSpace(femur=None, socket=socket))


def test_rim_runs_along_the_phantoms_edge_and_stops_at_its_notch():
    truth, socket = phantom().truth, survey()
    known = np.isfinite(socket.rim[:, 0])
    away = np.linalg.norm(socket.rim[known][:, None] - truth["rim"][None], axis=2).min(axis=1)
    assert np.median(away) < EDGE_MM / 2
    assert away.max() < 1.25 * EDGE_MM
    gone = socket.rim_hours[~known]
    first, last = truth["notch_hours"]
    assert gone.min() == pytest.approx(first, abs=0.2)
    assert gone.max() == pytest.approx(last, abs=0.2)


def test_sphere_opening_and_width_are_the_phantoms():
    truth, socket = phantom().truth, survey()
    np.testing.assert_allclose(socket.center, truth["socket_center"], atol=0.05)
    assert float(socket.radius_mm) == pytest.approx(truth["socket_radius_mm"], abs=0.05)
    assert np.degrees(np.arccos(socket.opening @ truth["rim_plane_normal"])) < 1.0
    np.testing.assert_allclose(np.nanmin(socket.gap_mm), truth["smallest_gap_mm"], atol=0.05)
    assert np.isfinite(socket.gap_mm).sum() == np.isfinite(socket.surface_mm).sum() > 1000


def test_map_covers_what_carries_cartilage_and_nothing_else():
    socket, form = survey(), phantom().form.socket
    ways = directions(socket.opening, np.radians(socket.map_angles_deg), socket.map_hours[:, None])
    truth = form.is_articular(ways)
    found = np.isfinite(socket.surface_mm)
    weight = np.sin(np.radians(socket.map_angles_deg))
    wrong = (weight * (truth != found)).sum() / (weight * truth).sum()
    assert wrong < 0.06  # the borders, one step of the grid wide
    places = map_places(socket)[found]
    off = np.abs(np.linalg.norm(places, axis=1) - 28.0)
    assert np.quantile(off, 0.98) < 0.1
    assert off.max() < 1.6  # on the foot of the fossa's wall


def test_border_of_the_fossa_is_the_phantoms_circle():
    form, edge = phantom().form.socket, survey().fossa_edge
    known = edge[np.isfinite(edge[:, 0])]
    assert 40 < len(known) < len(edge)  # open toward the notch
    from_middle = np.degrees(np.arccos(known @ form.fossa_direction / 28.0))
    # the wall rises over 6°: where it begins is told to a quarter of that
    np.testing.assert_allclose(np.median(from_middle), 30.0, atol=1.5)


def test_landmarks_that_were_not_scanned_are_not_a_number():
    points = survey().points
    assert np.isnan(points["ischial_spine_tip"]).all()
    assert np.isfinite(points["anterior_inferior_spine_lower_end"]).all()
    assert np.isfinite(points["acetabular_notch"]).all()
    low, tip = points["anterior_inferior_spine_lower_end"], points[SPINE]
    assert low[2] < tip[2]


def test_a_placed_lower_end_of_the_spine_outranks_the_found_one():
    hip, placed = phantom(), np.array([15.0, 36.0, 27.0])
    again = survey_socket(
        surface(hip.hip_bone),
        None,
        head_center=np.zeros(3),
        head_radius_mm=24.0,
        landmarks={"anterior_inferior_spine_lower_end": placed},
    )
    np.testing.assert_array_equal(again.points["anterior_inferior_spine_lower_end"], placed)
    assert np.isnan(again.gap_mm).all()
    assert np.isnan(again.ischiofemoral_mm)


def test_ischium_and_lesser_trochanter_are_as_far_apart_as_built():
    # truth between their round ends; the rods that carry them blend in and come a little nearer
    truth = phantom().truth["ischiofemoral_mm"]
    found = float(survey().ischiofemoral_mm)
    assert truth - 1.0 < found < truth + 0.2
    ends = survey().ischiofemoral_ends
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(found, abs=1e-9)


def test_bones_of_two_frames_are_refused():
    hip = phantom()
    with pytest.raises(FrameMismatchError):
        survey_socket(
            surface(hip.hip_bone),
            surface(hip.femur, Frame(FrameKind.HIP_CANONICAL, "other/right")),
            head_center=np.zeros(3),
            head_radius_mm=24.0,
            landmarks={},
        )


def test_left_hip_measures_as_its_mirrored_right_one():
    hip, values = phantom(), []
    for side in Side:
        at = np.array([-88.0 if side is Side.RIGHT else 88.0, 3.0, -40.0])
        border = HipBorder(
            side=side, app_from_lps=np.diag([-1.0, -1.0, 1.0]), origin_mm=at, fixed_to="phantom"
        )
        bones = {
            name: border.surface_to_canonical(surface(bone, LPS))
            for name, bone in hip.in_patient_lps(side, at).items()
        }
        socket = survey_socket(
            bones["hip_bone"],
            bones["femur"],
            head_center=np.zeros(3),
            head_radius_mm=24.0,
            landmarks={SPINE: hip.landmarks[SPINE]},
        )
        values.append([measured(name, socket) for name in ALL])
    for name, one, other in zip(ALL, *values, strict=True):
        np.testing.assert_allclose(one, other, atol=1e-6, err_msg=name)


DOUBT = SpaceDoubt(edge_sd_mm=0.15, edge_bias_sd_mm=0.1, count=400)


@cache
def drawn() -> SocketInSpace:
    return drawn_socket(survey(), np.random.default_rng(3), DOUBT)


@pytest.mark.parametrize("name", ALL)
def test_first_draw_is_the_survey_and_the_others_scatter_about_it(name):
    nominal, values = measured(name, survey()), measured(name, drawn())
    assert values.shape == (DOUBT.count + 1, *nominal.shape)
    np.testing.assert_allclose(values[0], nominal, atol=1e-9)
    spread = np.nanstd(values, axis=0)
    if name != "joint_congruence":  # head and socket move together without a femur's own draws
        assert (spread[np.isfinite(nominal)] > 0).all()
    linear = "spine" not in name and name != "joint_congruence"
    if linear:
        middle = np.nanmean(values[1:], axis=0)
        assert (np.abs(middle - nominal) < 0.2 * spread + 1e-9)[np.isfinite(nominal)].all()


def test_spread_of_a_center_edge_angle_is_that_of_the_edge_over_its_arm():
    values = measured("center_edge_angle.by_hour", drawn())
    noon = values[1:, 8]
    # hypot(0.15, 0.1) mm over 28 mm, along the opening, which is nearly square to the arm
    expected = np.degrees(np.hypot(0.15, 0.1) / 28.0)
    assert 0.7 * expected < noon.std() < 1.6 * expected  # the plane of the rim turns as well


def test_draws_are_those_of_their_seed():
    again = drawn_socket(survey(), np.random.default_rng(3), DOUBT)
    np.testing.assert_array_equal(again.rim, drawn().rim)
    np.testing.assert_array_equal(again.gap_mm, drawn().gap_mm)


def test_draws_of_an_empty_map_leave_the_sphere_where_it_is():
    bare = replace(
        survey(),
        surface_mm=np.full_like(survey().surface_mm, np.nan),
        gap_mm=np.full_like(survey().gap_mm, np.nan),
    )
    found = drawn_socket(bare, np.random.default_rng(3), DOUBT)
    np.testing.assert_array_equal(found.center, np.broadcast_to(bare.center, (401, 3)))


def test_turning_there_and_back_changes_nothing():
    hip = HipInSpace(femur=None, socket=survey())
    rotation = Rotation.random(rng=np.random.default_rng(6)).as_matrix()
    back = turned(turned(hip, rotation), rotation.T).socket
    assert back is not None
    for name in ("rim", "opening", "fossa_edge", "ischiofemoral_ends", "center"):
        np.testing.assert_allclose(
            getattr(back, name), getattr(survey(), name), atol=1e-9, err_msg=name
        )


def test_each_draw_is_turned_by_its_own_rotation():
    turns = small_turns(np.random.default_rng(9), 3.0, DOUBT.count)
    together = turned_socket(drawn(), turns)
    for k in (0, 7, 250):
        np.testing.assert_allclose(together.rim[k], drawn().rim[k] @ turns[k].T, atol=1e-12)
        np.testing.assert_allclose(together.opening[k], turns[k] @ drawn().opening[k], atol=1e-12)
        np.testing.assert_allclose(
            together.points[SPINE][k], turns[k] @ drawn().points[SPINE][k], atol=1e-12
        )


def test_forward_tilt_brings_what_is_above_to_the_front():
    np.testing.assert_allclose(tilt_rotation(90.0) @ [0.0, 0.0, 1.0], [0.0, 1.0, 0.0], atol=1e-12)
    assert tilt_rotation(np.array([1.0, 2.0])).shape == (2, 3, 3)
    hip = tilted(tilted(HipInSpace(femur=None, socket=survey()), 4.0), -9.0)
    assert hip.tilt_deg == -5.0


def test_places_are_told_again_from_their_polar_ways():
    opening = np.array([0.7, 0.3, -0.6]) / np.linalg.norm([0.7, 0.3, -0.6])
    twelve, three = clock_axes(opening)
    assert twelve[2] > 0
    assert three[1] > 0
    hours, angles = np.array([0.0, 2.5, 7.0, 11.9]), np.radians([10.0, 80.0, 95.0, 130.0])
    ways = directions(opening, angles, hours)
    distance, angle, hour = polar(5.0 + 31.0 * ways, np.full(3, 5.0), opening)
    np.testing.assert_allclose(distance, 31.0)
    np.testing.assert_allclose(angle, angles)
    np.testing.assert_allclose(hour, hours, atol=1e-9)


@pytest.mark.parametrize(("lower_mm", "low", "high"), [(0.0, 3.0, 9.0), (12.0, -7.0, -3.0)])
def test_spine_that_hangs_lower_ends_lower_against_the_rim(lower_mm, low, high):
    # the spine ends in a ball of 6 mm, the rim below it lies near 20 mm: I at first, then III
    form = HipForm(socket=SocketForm(spine_low_mm=lower_mm))
    hip = analytic_hip_3d("spine", steps_mm=(1.6, 6.0), form=form)
    socket = survey_socket(
        surface(hip.hip_bone),
        None,
        head_center=np.zeros(3),
        head_radius_mm=24.0,
        landmarks={SPINE: hip.landmarks[SPINE]},
    )
    assert low < float(measured("anterior_inferior_spine_level", socket)) < high


def bowl() -> Surface:
    """A thick half sphere without fossa or notch, open forward, outward and down."""
    outside = trimesh.creation.icosphere(subdivisions=5, radius=33.0)
    inside = trimesh.creation.icosphere(subdivisions=5, radius=26.0)
    block = trimesh.creation.box(bounds=[[-60, -60, 2.0], [60, 60, 60]])
    shell = outside.difference(inside).difference(block)
    opening = directions_of(50.0, 20.0)
    turn, _ = Rotation.align_vectors(opening[None], np.array([[0.0, 0.0, 1.0]]))
    return Surface(vertices=turn.apply(shell.vertices), faces=shell.faces, frame=FRAME)


def directions_of(inclination: float, anteversion: float) -> np.ndarray:
    a, b = np.radians([inclination, anteversion])
    return np.array([np.sin(a) * np.cos(b), np.sin(a) * np.sin(b), -np.cos(a)])


def test_a_plain_bowl_has_a_whole_rim_and_no_fossa():
    socket = survey_socket(
        bowl(), None, head_center=np.zeros(3), head_radius_mm=23.0, landmarks={}
    )
    assert np.isfinite(socket.rim).all()
    assert np.isnan(socket.fossa_edge).all()
    assert np.isnan(socket.points["acetabular_notch"]).all()
    np.testing.assert_allclose(socket.opening, directions_of(50.0, 20.0), atol=1e-3)
    # a plane 2 mm before the center cuts the sphere at acos(−2 / 26) from the inward pole
    share = 50 * (1 + 2 / np.hypot(2, np.sqrt(26**2 - 2**2)))
    assert float(measured("head_coverage.total", socket)) == pytest.approx(share, abs=0.3)
    assert np.isnan(measured("roof_inclination.in_space", socket))
    over = spine_lower_end_of(socket, np.array([0.0, 0.0, 12.0]))
    assert np.linalg.norm(socket.rim - over, axis=1).min() < 1e-9  # the rim itself
    for nowhere in ([np.nan] * 3, [0.0, 0.0, 60.0]):  # not scanned; where there is no bone
        assert np.isnan(spine_lower_end_of(socket, np.array(nowhere))).all()


def spine_lower_end_of(socket: SocketInSpace, tip: np.ndarray) -> np.ndarray:
    whole = bowl()
    rim = RimCrest(opening=socket.opening, places=socket.rim, trust=np.ones(len(socket.rim)))
    return spine_lower_end(mesh_tree(whole.vertices, whole.faces), socket.center, rim, tip)


def test_pieces_that_all_lie_in_one_direction_move_the_sphere_along_it_alone() -> None:
    out = np.array([0.0, 0.0, 1.0])
    places = np.outer([25.5, 25.5, 25.6], out)
    center, radius = _fit(places, np.ones(3), np.zeros(3), 25.0)
    assert np.isfinite(center).all()
    assert center[:2] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert np.linalg.norm(places - center, axis=1) == pytest.approx(radius, abs=0.1)
