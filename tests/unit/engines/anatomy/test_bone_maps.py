from __future__ import annotations

import numpy as np
import pytest
import trimesh

from hipwright.domain.anatomy import Surface
from hipwright.domain.frames import Frame, FrameKind
from hipwright.engines.anatomy.bone_maps import bone_maps
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from tests.unit.engines.measurement.round_femora import round_femur
from tests.unit.engines.measurement.round_sockets import round_socket

FRAME = Frame(FrameKind.HIP_CANONICAL, "phantom/right")
SOCKET_MM, HEAD_MM = 26.0, 23.0


def ball(radius: float, *, inside_out: bool = False) -> Surface:
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    faces = np.asarray(mesh.faces)[:, ::-1] if inside_out else np.asarray(mesh.faces)
    return Surface(vertices=np.asarray(mesh.vertices), faces=faces, frame=FRAME)


def hip() -> HipInSpace:
    return HipInSpace(femur=round_femur(radius=HEAD_MM), socket=round_socket(rim_deg=80.0))


def test_maps_have_one_number_for_each_vertex() -> None:
    head, socket = ball(HEAD_MM), ball(SOCKET_MM, inside_out=True)
    maps = bone_maps(hip(), head, socket)
    for values in maps.femur.values():
        assert values.dtype == np.float32
        assert values.shape == (len(head.vertices),)
    assert maps.hip_bone["joint_space_mm"].shape == (len(socket.vertices),)


def test_residual_is_the_distance_from_the_heads_sphere() -> None:
    bumpy = ball(HEAD_MM)
    vertices = np.array(bumpy.vertices)
    vertices[100] *= 25.0 / HEAD_MM
    lifted = Surface(vertices=vertices, faces=bumpy.faces, frame=FRAME)
    residual = bone_maps(hip(), lifted, None).femur["residual_mm"]
    shown = np.isfinite(residual)
    axis = round_femur(radius=HEAD_MM).neck_axis
    assert not shown[vertices @ axis > 0.95 * HEAD_MM].any()
    others = shown.copy()
    others[100] = False
    assert residual[others] == pytest.approx(0.0, abs=1e-4)
    assert residual[100] == pytest.approx(2.0, abs=1e-4) or not shown[100]


def test_joint_space_is_the_gap_of_two_concentric_balls() -> None:
    maps = bone_maps(hip(), ball(HEAD_MM), ball(SOCKET_MM, inside_out=True))
    for values in (maps.femur["joint_space_mm"], maps.hip_bone["joint_space_mm"]):
        assert np.isfinite(values).all()
        assert values == pytest.approx(3.0, abs=0.1)


def test_coverage_is_the_share_of_the_head_inside_the_rim() -> None:
    head = ball(HEAD_MM)
    coverage = bone_maps(hip(), head, None).femur["coverage"]
    assert set(np.unique(coverage)) == {0.0, 1.0}
    cap = (1.0 - np.cos(np.radians(80.0))) / 2.0  # closed form: a cap of 80°
    assert coverage.mean() == pytest.approx(cap, abs=0.02)


def test_bones_that_are_absent_leave_their_maps_out() -> None:
    assert not bone_maps(HipInSpace(femur=None, socket=None), None, None).femur
    only = bone_maps(HipInSpace(femur=round_femur(), socket=None), ball(24.0), None)
    assert set(only.femur) == {"residual_mm"}
    far = Surface(vertices=ball(24.0).vertices + 900.0, faces=ball(24.0).faces, frame=FRAME)
    apart = bone_maps(hip(), far, ball(SOCKET_MM, inside_out=True))
    assert np.isnan(apart.femur["joint_space_mm"]).all()
