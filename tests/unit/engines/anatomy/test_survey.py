from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import trimesh

from hipwright.domain.anatomy import (
    Bone,
    BoneLandmarks,
    BoneModel,
    BoneQuality,
    Severity,
    SpacePoint,
    Surface,
)
from hipwright.domain.errors import DegenerateGeometryError, LandmarkError, SurfaceError
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.side import Side
from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.anatomy.femur_landmarks import HEAD_CENTER, femur_landmarks, place_landmarks
from hipwright.engines.anatomy.femur_shaft import shaft_axis
from hipwright.engines.anatomy.femur_survey import survey_femur
from hipwright.engines.anatomy.space_doubt import SpaceDoubt
from hipwright.engines.anatomy.survey import (
    drawn_hip,
    find_landmarks,
    surfaces_of,
    survey_hip,
    survey_hips,
)
from hipwright.engines.geometry.spheres import SphereFit
from hipwright.phantoms.analytic_bones import AnalyticHip3D
from tests.analytic_hips import hip_of

LPS = Frame(FrameKind.PATIENT_LPS, "scan")
AT = np.array([-90.0, 20.0, 700.0])
QUALITY = BoneQuality(edge_sd_mm=0.1, edge_bias_sd_mm=0.1)


def hip() -> AnalyticHip3D:
    return hip_of("normal", 1.6)


def model(bone: Bone, vertices: np.ndarray, faces: np.ndarray, part: str = "") -> BoneModel:
    surface = Surface(vertices=vertices, faces=faces, frame=LPS)
    return BoneModel(bone=bone, surface=surface, quality=QUALITY, part=part)


@cache
def right_hip() -> tuple[BoneModel, ...]:
    bones = hip().in_patient_lps(Side.RIGHT, AT)
    return (
        model(Bone.FEMUR_RIGHT, bones["femur"].vertices, bones["femur"].faces),
        model(Bone.HIP_BONE_RIGHT, bones["hip_bone"].vertices, bones["hip_bone"].faces),
    )


@cache
def found() -> BoneLandmarks:
    return find_landmarks(right_hip())[0]


def kept_above(vertices: np.ndarray, faces: np.ndarray, level: float) -> trimesh.Trimesh:
    cut = trimesh.intersections.slice_faces_plane(
        vertices, faces, plane_normal=[0, 0, 1.0], plane_origin=[0, 0, level]
    )
    return trimesh.Trimesh(cut[0], cut[1])


def test_a_knee_scanned_apart_belongs_to_its_femur() -> None:
    femur = right_hip()[0].surface
    upper = kept_above(femur.vertices, femur.faces, AT[2] - 180.0)
    mirrored = femur.vertices * [1.0, 1.0, -1.0]
    knee = kept_above(mirrored, femur.faces[:, ::-1], -(AT[2] - 300.0))
    lower = knee.vertices * [1.0, 1.0, -1.0]
    parts = (
        model(Bone.FEMUR_RIGHT, upper.vertices, upper.faces),
        model(Bone.FEMUR_RIGHT, lower, np.asarray(knee.faces)[:, ::-1], part="knee"),
    )
    joined = surfaces_of(parts)[Bone.FEMUR_RIGHT]
    assert len(joined.vertices) == len(upper.vertices) + len(lower)
    apart = find_landmarks(parts)[0].point("posterior_condyle_medial", Side.RIGHT)
    whole = found().point("posterior_condyle_medial", Side.RIGHT)
    assert apart is not None
    assert whole is not None
    assert np.linalg.norm(np.subtract(apart.at_mm, whole.at_mm)) < 3.0


def test_parts_of_two_scans_are_not_joined() -> None:
    one = right_hip()[0]
    elsewhere = Surface(
        vertices=one.surface.vertices,
        faces=one.surface.faces,
        frame=Frame(FrameKind.PATIENT_LPS, "other"),
    )
    other = BoneModel(bone=one.bone, surface=elsewhere, quality=QUALITY, part="knee")
    with pytest.raises(SurfaceError, match="cannot join"):
        surfaces_of((one, other))


def test_both_bones_of_a_hip_are_surveyed_in_one_pose() -> None:
    (surveyed,) = survey_hips(surfaces_of(right_hip()), found())
    assert surveyed.border.side is Side.RIGHT
    assert surveyed.nominal.femur is not None
    assert surveyed.nominal.socket is not None
    assert np.linalg.norm(surveyed.nominal.femur.head_center) < 0.05
    assert surveyed.border.origin_mm == pytest.approx(AT, abs=0.05)
    assert surveyed.femur_frame is not None
    assert not surveyed.femur_frame.is_fallback


def test_draws_of_a_hip_have_one_length_and_begin_with_the_surveyed_one() -> None:
    (surveyed,) = survey_hips(surfaces_of(right_hip()), found())
    doubt = SpaceDoubt(edge_sd_mm=0.1, edge_bias_sd_mm=0.1, count=10)
    drawn = drawn_hip(surveyed, np.random.default_rng(1), doubt)
    assert drawn.femur is not None
    assert drawn.socket is not None
    assert len(drawn.femur.head_center) == len(drawn.socket.center) == 11
    assert surveyed.nominal.femur is not None
    nominal = surveyed.nominal.femur.radial_mm
    assert np.array_equal(drawn.femur.radial_mm[0], nominal, equal_nan=True)


def test_one_bone_alone_makes_a_hip_of_its_own() -> None:
    for bone in right_hip():
        landmarks, remarks = find_landmarks((bone,))
        assert remarks == ()
        (surveyed,) = survey_hips(surfaces_of((bone,)), landmarks)
        is_femur = bone.bone is Bone.FEMUR_RIGHT
        assert (surveyed.nominal.femur is not None) == is_femur
        assert (surveyed.nominal.socket is not None) == (not is_femur)
        doubt = SpaceDoubt(edge_sd_mm=0.1, edge_bias_sd_mm=0.1, count=4)
        drawn = drawn_hip(surveyed, np.random.default_rng(2), doubt)
        assert (drawn.femur is not None) == is_femur


def test_a_femur_without_its_knee_is_remarked_upon() -> None:
    femur = right_hip()[0].surface
    upper = kept_above(femur.vertices, femur.faces, AT[2] - 170.0)
    models = (model(Bone.FEMUR_RIGHT, upper.vertices, upper.faces),)
    landmarks, _ = find_landmarks(models)
    assert landmarks.point("posterior_condyle_medial", Side.RIGHT) is None
    (surveyed,) = survey_hips(surfaces_of(models), landmarks)
    codes = {remark.code for remark in surveyed.remarks}
    assert "femur_frame_fallback" in codes
    assert surveyed.femur_frame is not None
    assert surveyed.femur_frame.is_fallback


def test_a_ball_is_no_femur_and_no_hip_bone() -> None:
    ball = trimesh.creation.box(extents=(60.0, 60.0, 60.0)).subdivide().subdivide().subdivide()
    models = (
        model(Bone.FEMUR_RIGHT, np.asarray(ball.vertices), np.asarray(ball.faces)),
        model(Bone.FEMUR_LEFT, np.empty((0, 3)), np.empty((0, 3), np.int32)),
    )
    landmarks, remarks = find_landmarks(models)
    assert not landmarks.points
    assert {remark.bone for remark in remarks} == {Bone.FEMUR_RIGHT, Bone.FEMUR_LEFT}
    assert all(remark.severity is Severity.REFUSAL for remark in remarks)
    assert survey_hips(surfaces_of(models), landmarks) == ()


def test_a_bone_that_cannot_be_surveyed_says_why_and_leaves_the_other() -> None:
    without_head = BoneLandmarks(points=tuple(p for p in found() if p.id != HEAD_CENTER))
    (whole,) = survey_hips(surfaces_of(right_hip()), found())
    surveyed = survey_hip(surfaces_of(right_hip()), without_head, whole.border)
    assert surveyed.nominal.femur is None
    assert surveyed.nominal.socket is not None
    refused = [r for r in surveyed.remarks if r.code == "not_surveyed"]
    assert [r.bone for r in refused] == [Bone.FEMUR_RIGHT]
    assert HEAD_CENTER in refused[0].text


def test_a_survey_needs_its_landmarks() -> None:
    femur = hip().femur
    surface = Surface(
        vertices=femur.vertices,
        faces=femur.faces,
        frame=Frame(FrameKind.HIP_CANONICAL, "scan/right"),
    )
    with pytest.raises(LandmarkError, match="femoral_head_center"):
        survey_femur(surface, {})


def test_a_center_that_a_reader_moved_stays_where_it_was_put() -> None:
    moved = BoneLandmarks(
        points=(
            SpacePoint(
                id="femoral_head_center",
                side=Side.RIGHT,
                at_mm=(float(AT[0]) + 0.6, float(AT[1]), float(AT[2])),
                sd_mm=0.15,
                moved=True,
            ),
        )
    )
    (surveyed,) = survey_hips(surfaces_of(right_hip()), found().updated(moved))
    femur = surveyed.nominal.femur
    assert femur is not None
    assert np.linalg.norm(femur.head_center) < 1e-9
    assert surveyed.border.origin_mm == pytest.approx(AT + np.array([0.6, 0.0, 0.0]))
    assert femur.head_radius_mm == pytest.approx(24.0, abs=0.3)


def test_a_survey_without_the_isthmus_finds_the_neck_from_the_shaft() -> None:
    few = {
        name: place
        for name, place in place_landmarks(
            BoneMesh.of(hip().femur.vertices, hip().femur.faces)
        ).items()
        if name in {"femoral_head_center", "femoral_shaft_proximal", "femoral_shaft_distal"}
    }
    femur = hip().femur
    surface = Surface(
        vertices=femur.vertices,
        faces=femur.faces,
        frame=Frame(FrameKind.HIP_CANONICAL, "scan/right"),
    )
    survey = survey_femur(surface, few)
    assert survey.neck_axis == pytest.approx(hip().truth["neck_axis"], abs=0.01)
    assert np.isnan(survey.isthmus).all()
    assert np.isnan(survey.greater_trochanter).all()


def test_a_stub_without_a_shaft_is_refused() -> None:
    femur = hip().femur
    head = kept_above(femur.vertices, femur.faces, -60.0)
    mesh = BoneMesh.of(np.asarray(head.vertices), np.asarray(head.faces, dtype=np.int32))
    sphere = SphereFit(center=np.zeros(3), radius=24.0, weights=np.ones(1))
    with pytest.raises(DegenerateGeometryError, match="shaft"):
        shaft_axis(mesh, sphere)


def test_a_shank_with_its_fibula_gives_the_line_of_the_malleoli() -> None:
    femur = right_hip()[0].surface
    tibia = trimesh.creation.cylinder(radius=14.0, height=360.0, sections=48)
    plateau = trimesh.creation.box(extents=(70.0, 44.0, 16.0))
    fibula = trimesh.creation.cylinder(radius=5.0, height=360.0, sections=24)
    knee = found().point("epicondyle_lateral", Side.RIGHT)
    assert knee is not None
    below = np.array([AT[0], AT[1], knee.at_mm[2] - 60.0])
    tibia.apply_translation(below - [0.0, 0.0, 180.0])
    plateau.apply_translation(below)
    fibula.apply_translation(below + np.array([-42.0, 8.0, -200.0]))
    one = trimesh.boolean.union([tibia, plateau], engine="manifold")
    vertices = np.concatenate([one.vertices, fibula.vertices])
    faces = np.concatenate([one.faces, fibula.faces + len(one.vertices)])
    landmarks = femur_landmarks(
        {
            Bone.FEMUR_RIGHT: femur,
            Bone.TIBIA_RIGHT: Surface(vertices=vertices, faces=faces, frame=LPS),
        }
    )
    lateral = landmarks.point("malleolus_lateral", Side.RIGHT)
    medial = landmarks.point("malleolus_medial", Side.RIGHT)
    assert lateral is not None
    assert medial is not None
    assert lateral.at_mm[0] < medial.at_mm[0]  # lateral is to the right on the right
    assert lateral.at_mm[2] == pytest.approx(below[2] - 380.0, abs=1.0)
    assert landmarks.point("tibial_condyle_medial", Side.RIGHT) is not None
