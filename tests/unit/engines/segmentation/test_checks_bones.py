"""Deliberately broken femora and hip bones, built as plain solids: each is announced."""

from typing import Any

import manifold3d
import numpy as np
import pytest

from hipwright.catalog.bone_checks import BoneCheck, bone_checks
from hipwright.catalog.loader import load
from hipwright.domain.anatomy import Bone, BoneModel, BoneQuality, Severity, Surface
from hipwright.domain.errors import CatalogError
from hipwright.domain.frames import Frame, FrameKind
from hipwright.engines.geometry.mesh_solid import filled_share, solid_grid
from hipwright.engines.segmentation.checks_bones import check_bones, remarks_on
from hipwright.engines.segmentation.checks_edges import edge_figures
from tests.unit.engines.segmentation.walled_balls import ball, grid_of, scanned

Manifold: Any = manifold3d.Manifold
FRAME = Frame(FrameKind.PATIENT_LPS, "solids")
QUALITY = BoneQuality(edge_sd_mm=0.1, edge_bias_sd_mm=0.05)
RIGHT, LEFT = Bone.FEMUR_RIGHT, Bone.FEMUR_LEFT
HIP = Bone.HIP_BONE_RIGHT


def sphere(radius, at):
    return Manifold.sphere(radius, 64).translate(at)


def rod(start, end, radius):
    return Manifold.batch_hull([sphere(radius, start), sphere(radius, end)])


def femur(side=1.0, neck=15.0):
    """Head at the origin, neck outward and down, shaft downward; +1 is a right one."""
    base = (-45.0 * side, 0.0, -35.0)
    shaft = rod(base, (-45.0 * side, 0.0, -170.0), 15.0)
    return sphere(23.0, (0, 0, 0)) + rod((0, 0, 0), base, neck) + shaft


def socket():
    """A thick half shell over the head, 3 mm away, with a wing."""
    shell = sphere(38.0, (0, 0, 0)) - sphere(26.0, (0, 0, 0))
    half = shell.trim_by_plane((0.35, 0.0, 0.94), 4.0)
    return half + rod((10, 0, 45), (-5, 0, 150), 16.0)


def model(bone, solid, *, quality=QUALITY):
    mesh = solid.refine_to_length(2.5).to_mesh64()
    vertices = np.array(mesh.vert_properties)[:, :3]
    surface = Surface(vertices=vertices, faces=np.array(mesh.tri_verts), frame=FRAME)
    return BoneModel(bone=bone, surface=surface, quality=quality)


def codes(*models):
    return {remark.code for remark in check_bones(models)}


def pair(right):
    return model(RIGHT, right), model(LEFT, femur(-1.0))


def test_a_sound_hip_is_announced_by_nothing_grave():
    remarks = check_bones((*pair(femur()), model(HIP, socket())))
    assert not [r for r in remarks if r.severity is Severity.REFUSAL]


NECK = (-24.0, 0.0, -18.7)
FRONT = (-24.0, -15.0, -18.7)
BROKEN = {
    "pit_at_neck": femur() - rod(FRONT, (-24.0, -8.0, -18.7), 2.5),
    "handles.femur": femur() - rod((-24.0, -30.0, -18.7), (-24.0, 30.0, -18.7), 1.5),
    "thin_neck": femur(neck=6.0),
    "spike": femur() + rod(FRONT, (-24.0, -25.0, -18.7), 0.6),
    "sides_differ.volume": femur() + sphere(40.0, (-60.0, 0.0, -100.0)),
    "several_pieces": femur() + sphere(8.0, (60.0, 0.0, 0.0)),
    "no_head": rod((0, 0, 0), (0, 0, -170.0), 5.0),
    "head_residual_large": Manifold.cube((24.0, 24.0, 170.0)),
}


@pytest.mark.parametrize("code", sorted(BROKEN))
def test_a_broken_femur_is_announced(code):
    assert code in codes(*pair(BROKEN[code]))


def test_a_missing_part_and_one_too_much_show_against_the_other_side():
    longer = femur() + rod((-45.0, 0.0, -35.0), (-75.0, 0.0, -20.0), 10.0)
    assert "sides_differ.shape" in codes(*pair(longer))


def test_a_stub_beside_one_hip_alone_is_compared_with_nothing():
    whole, stub = model(HIP, socket()), model(Bone.HIP_BONE_LEFT, rod((60, 0, 0), (75, 0, 0), 9))
    assert "sides_differ.volume" in codes(whole, stub)
    one_hip = codes(whole, stub, model(RIGHT, femur()))
    assert not {"sides_differ.volume", "sides_differ.shape"} & one_hip


def test_exchanged_sides_are_announced():
    assert "wrong_side" in codes(model(RIGHT, femur(-1.0)))
    assert "wrong_side" in codes(model(LEFT, femur()))


def test_a_fused_joint_and_a_dislocated_one_are_announced():
    fused = femur() + sphere(8.0, (0.0, 0.0, 22.0))
    found = codes(model(RIGHT, fused), model(HIP, socket()))
    assert {"closed_joint", "fused_joint"} & found
    assert "closed_joint" in found


def test_meters_an_inverted_mesh_and_an_open_one_are_refused():
    sound = model(RIGHT, femur()).surface

    def changed(vertices, faces):
        surface = Surface(vertices=vertices, faces=faces, frame=FRAME)
        return BoneModel(bone=RIGHT, surface=surface, quality=QUALITY)

    assert "size" in codes(changed(sound.vertices / 1000, sound.faces))
    assert "open_surface" in codes(changed(sound.vertices, sound.faces[:, ::-1]))
    assert "open_surface" in codes(changed(sound.vertices, sound.faces[3:]))


def test_a_poor_making_is_announced_and_the_graver_of_two_limits_is_told():
    quality = BoneQuality(edge_sd_mm=0.5, edge_bias_sd_mm=0.3, rejected_share=0.5, bridges=9)
    found = codes(model(RIGHT, femur(), quality=quality))
    assert {"edge_scatter", "edge_bias", "rejected_edges_many", "fused_with_neighbor"} <= found
    assert "rejected_edges" not in found


def test_a_surface_off_its_edge_is_refused_without_a_model_of_the_edge():
    grid = grid_of((46, 64, 64))
    center = np.array([22.0, 22.0, 22.0])
    volume, _ = scanned(grid, [ball(grid, RIGHT, center, 15.3, wall_mm=2.0)])

    def told(radius):
        body = model(RIGHT, sphere(radius, tuple(center)))
        figures = edge_figures(volume, body, step_hu=1260.0, soft_hu=40.0)
        return {r.code for r in remarks_on(RIGHT, figures)}

    assert told(15.3) == set()
    assert "edge_offset" in told(14.6)
    assert "edge_missing_patch" in told(10.0)


def test_surroundings_of_a_flat_side_are_half_full_and_of_an_edge_a_quarter():
    cube = Manifold.cube((40.0, 40.0, 40.0)).to_mesh64()
    vertices, faces = np.array(cube.vert_properties)[:, :3], np.array(cube.tri_verts)
    solid = solid_grid(vertices, faces, 1.0)
    assert abs(solid.inside.sum() - 40**3) < 0.02 * 40**3
    points = np.array([[20.0, 20.0, 40.0], [20.0, 40.0, 40.0], [40.0, 40.0, 40.0]])
    np.testing.assert_allclose(filled_share(solid, points, 2.0), [0.5, 0.25, 0.125], atol=0.05)


def test_limits_are_data_with_a_source_each():
    references = load().references
    assert all(cite in references for check in bone_checks() for cite in check.cite)
    assert len({check.id for check in bone_checks()}) == len(bone_checks())
    with pytest.raises(CatalogError, match="neither"):
        BoneCheck(
            id="x",
            figure="x",
            bones=("femur",),
            severity=Severity.NOTE,
            unit="1",
            text="",
            cite=(),
        )
