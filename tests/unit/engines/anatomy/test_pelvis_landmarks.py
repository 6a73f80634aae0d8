"""Landmarks and frames of a pelvis that is known by construction, in any pose and any crop."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from hipwright.catalog import load
from hipwright.domain.anatomy import Bone, BoneLandmarks, SpacePoint, Surface
from hipwright.domain.errors import SurfaceError
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.side import Side
from hipwright.engines.anatomy.pelvis_frame import (
    LANDMARKS_SD_DEG,
    ONE_TUBERCLE_SD_DEG,
    PATIENT_AXES_SD_DEG,
    pelvic_frame,
)
from hipwright.engines.anatomy.pelvis_landmarks import SOCKET_CENTER, pelvis_landmarks
from hipwright.engines.anatomy.pelvis_lids import flat_lids
from hipwright.engines.anatomy.pelvis_template import best_turn, ordinary_place
from hipwright.engines.anatomy.socket_sphere import find_socket
from tests.analytic_hips import hip_of

FRAME = Frame(FrameKind.PATIENT_LPS, "phantom")
HALF_MM = 88.0
TIP_MM = 5.0  # three thick rods blend there and bulge over the tips of their axes
SAME_MM = 0.02
APP_DEG = 0.6
NAMES = {
    "anterior_superior_iliac_spine": "anterior_superior_iliac_spine",
    "posterior_superior_iliac_spine": "posterior_superior_iliac_spine",
    "ischial_tuberosity": "ischial_tuberosity",
}


def hip():
    return hip_of("normal", 1.6)


@cache
def pelvis() -> dict[Bone, Surface]:
    found: dict[Bone, Surface] = {}
    for side in Side:
        at = np.array([-HALF_MM if side is Side.RIGHT else HALF_MM, 0.0, 0.0])
        bone = hip().in_patient_lps(side, at)["hip_bone"]
        found[Bone.hip_bone(side)] = Surface(vertices=bone.vertices, faces=bone.faces, frame=FRAME)
    return found


@cache
def landmarks() -> BoneLandmarks:
    return pelvis_landmarks(pelvis())


def turned(surfaces: dict[Bone, Surface], rotation: np.ndarray) -> dict[Bone, Surface]:
    return {
        bone: Surface(vertices=s.vertices @ rotation.T, faces=s.faces, frame=FRAME)
        for bone, s in surfaces.items()
    }


def lidded(surface: Surface, height_mm: float) -> Surface:
    """The bone below a height, closed by a flat lid as a scan that ends there leaves it."""
    vertices = surface.vertices.copy()
    above = vertices[:, 2] > height_mm
    vertices[above, 2] = height_mm
    return Surface(vertices=vertices, faces=surface.faces, frame=FRAME)


def angle_deg(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip((np.trace(one @ other.T) - 1) / 2, -1, 1))))


def test_landmarks_lie_where_the_phantom_has_them():
    for side in Side:
        at = np.array([-HALF_MM if side is Side.RIGHT else HALF_MM, 0.0, 0.0])
        truth = hip().landmarks_in_patient_lps(side, at)
        for name, true_name in NAMES.items():
            point = landmarks().point(name, side)
            assert point is not None
            assert np.linalg.norm(np.array(point.at_mm) - truth[true_name]) < TIP_MM, name
            assert point.sd_mm == load().bone_feature(name).sd_mm > 0
        center = landmarks().point(SOCKET_CENTER, side)
        assert center is not None
        np.testing.assert_allclose(center.at_mm, at, atol=0.05)


def test_left_and_right_landmarks_mirror_each_other():
    for point in landmarks():
        other = landmarks().point(point.id, Side.LEFT if point.side is Side.RIGHT else Side.RIGHT)
        assert other is not None
        np.testing.assert_allclose(
            np.array(point.at_mm) * [-1, 1, 1], other.at_mm, atol=1e-6, err_msg=point.id
        )


def test_anterior_pelvic_plane_is_that_of_the_phantom():
    frame = pelvic_frame(landmarks())
    assert angle_deg(frame.app_from_lps, np.diag([-1.0, -1.0, 1.0])) < APP_DEG
    assert frame.sd_deg == LANDMARKS_SD_DEG
    assert not frame.is_fallback
    assert frame.isb_from_lps is not None
    assert frame.isb_pitch_deg is not None
    # truth: from the middle of the spines behind to that of those in front
    marks = hip().landmarks
    way = marks["anterior_superior_iliac_spine"] - marks["posterior_superior_iliac_spine"]
    assert frame.isb_pitch_deg == pytest.approx(
        np.degrees(np.arctan2(way[2], way[1])), abs=2.5
    )  # as above, over 130 mm


@pytest.mark.parametrize("turn_deg", [(28, 0, 0), (-25, 10, 0), (12, -14, 30)])
def test_landmarks_turn_with_the_patient(turn_deg):
    rotation = Rotation.from_euler("xyz", turn_deg, degrees=True).as_matrix()
    found = pelvis_landmarks(turned(pelvis(), rotation))
    for point in landmarks():
        moved = found.point(point.id, point.side)
        assert moved is not None, point.id
        expected = rotation @ np.array(point.at_mm)
        np.testing.assert_allclose(moved.at_mm, expected, atol=SAME_MM, err_msg=point.id)


@pytest.mark.parametrize("tilt", [-8.0, 11.0])
def test_tilt_as_scanned_is_positive_with_the_plane_forward(tilt):
    # +x is left: a turn by +tilt about it brings what is superior back, toward +posterior
    rotation = Rotation.from_euler("x", tilt, degrees=True).as_matrix()
    before = pelvic_frame(landmarks()).tilt_as_scanned_deg
    after = pelvic_frame(pelvis_landmarks(turned(pelvis(), rotation)))
    assert after.tilt_as_scanned_deg - before == pytest.approx(tilt, abs=0.05)


def test_obliquity_and_rotation_as_scanned_have_their_signs():
    # right side (−x) upward by 4°, then forward (−y) by 5°
    both = Rotation.from_euler("yz", (4.0, 5.0), degrees=True).as_matrix()
    frame = pelvic_frame(pelvis_landmarks(turned(pelvis(), both)))
    assert frame.obliquity_as_scanned_deg == pytest.approx(4.0, abs=0.05)
    assert frame.rotation_as_scanned_deg == pytest.approx(5.0, abs=0.05)


def test_a_landmark_beyond_the_end_of_the_scan_is_not_there():
    short = {bone: lidded(surface, 60.0) for bone, surface in pelvis().items()}
    found = pelvis_landmarks(short)
    for side in Side:
        assert found.point("anterior_superior_iliac_spine", side) is None
        assert found.point("posterior_superior_iliac_spine", side) is None
        assert found.point("ischial_tuberosity", side) is not None
    frame = pelvic_frame(found)
    assert frame.is_fallback
    assert "both sides" in frame.method
    assert angle_deg(frame.app_from_lps, np.diag([-1.0, -1.0, 1.0])) < 2 * frame.sd_deg


def test_one_hip_alone_is_laid_on_an_ordinary_pelvis():
    alone = {Bone.HIP_BONE_LEFT: pelvis()[Bone.HIP_BONE_LEFT]}
    frame = pelvic_frame(pelvis_landmarks(alone))
    assert frame.is_fallback
    assert "one side" in frame.method
    assert frame.isb_from_lps is None
    assert angle_deg(frame.app_from_lps, np.diag([-1.0, -1.0, 1.0])) < 3 * frame.sd_deg


def only(*wanted: tuple[str, Side]) -> BoneLandmarks:
    return BoneLandmarks(points=tuple(p for p in landmarks() if (p.id, p.side) in wanted))


def test_one_tubercle_is_enough_for_a_plane_and_said():
    spine = "anterior_superior_iliac_spine"
    wanted = [(spine, Side.LEFT), (spine, Side.RIGHT), ("pubic_tubercle", Side.LEFT)]
    frame = pelvic_frame(only(*wanted))
    whole = pelvic_frame(landmarks())
    assert frame.sd_deg == ONE_TUBERCLE_SD_DEG
    assert frame.method.endswith("of one side")
    assert angle_deg(frame.app_from_lps, whole.app_from_lps) < ONE_TUBERCLE_SD_DEG


def test_with_next_to_nothing_the_patients_axes_stand_in():
    frame = pelvic_frame(only((SOCKET_CENTER, Side.LEFT), (SOCKET_CENTER, Side.RIGHT)))
    assert frame.sd_deg == PATIENT_AXES_SD_DEG
    assert "only 2 landmarks" in frame.method
    np.testing.assert_array_equal(frame.app_from_lps, np.diag([-1.0, -1.0, 1.0]))
    stray = SpacePoint(id="sacral_promontory", side=None, at_mm=(0.0, 0.0, 0.0), sd_mm=1.0)
    assert "only 0 landmarks" in pelvic_frame(BoneLandmarks(points=(stray,))).method


def test_an_ordinary_pelvis_is_found_again_after_any_turn():
    names = ["anterior_superior_iliac_spine", "pubic_tubercle", "ischial_spine_tip", SOCKET_CENTER]
    places = np.array([ordinary_place(n, m) for n in names for m in (1.0, -1.0)])
    rotation = Rotation.random(rng=np.random.default_rng(8)).as_matrix()
    found, left = best_turn(places, 1.13 * places @ rotation + [5.0, -3.0, 40.0])
    # scipy's own solution of the same problem, without the size
    expected, _ = Rotation.align_vectors(
        places - places.mean(axis=0), (places - places.mean(axis=0)) @ rotation
    )
    np.testing.assert_allclose(found, rotation, atol=1e-9)
    np.testing.assert_allclose(found, expected.as_matrix(), atol=1e-9)
    assert left == pytest.approx(0.0, abs=1e-9)
    assert ordinary_place("sacral_promontory", 1.0) is None


def test_lids_are_found_where_a_scan_ends_and_nowhere_else():
    whole = pelvis()[Bone.HIP_BONE_RIGHT]
    # the phantom's symphysis is cut flat: that one lid is its own
    assert [tuple(np.round(lid.normal).tolist()) for lid in flat_lids(whole)] == [(1.0, 0.0, 0.0)]
    cut = flat_lids(lidded(whole, 60.0))
    up = [lid for lid in cut if lid.normal[2] > 0.99]
    assert len(up) == 1
    np.testing.assert_allclose(up[0].depths_mm(np.array([[0.0, 0.0, 55.0]])), 5.0, atol=0.05)


def test_a_bone_without_a_socket_gives_no_landmarks():
    ball = trimesh.creation.icosphere(subdivisions=4, radius=24.0)
    surface = Surface(vertices=ball.vertices, faces=ball.faces, frame=FRAME)
    with pytest.raises(SurfaceError, match="cannot find the socket"):
        find_socket(surface)
    assert pelvis_landmarks({Bone.HIP_BONE_LEFT: surface}).points == ()


@pytest.mark.parametrize("seed", range(2))
def test_the_socket_is_found_in_any_pose(seed):
    rotation = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    surface = turned(pelvis(), rotation)[Bone.HIP_BONE_LEFT]
    sphere = find_socket(surface)
    np.testing.assert_allclose(sphere.center @ rotation, [HALF_MM, 0, 0], atol=0.05)
    assert sphere.radius_mm == pytest.approx(28.0, abs=0.05)
    assert sphere.residual_mm < 0.2
