"""Bone models of walled balls and rings, whose surfaces are closed forms."""

import math

import numpy as np
import pytest

from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import SurfaceError
from hipwright.domain.volume import LabelVolume, Volume
from hipwright.engines.geometry.mesh_distance import signed_distances_mm
from hipwright.engines.geometry.meshes import handles
from hipwright.engines.segmentation.bones import bone_models, bones_from_labels
from hipwright.engines.segmentation.edge_levels import measured_levels
from hipwright.engines.segmentation.segmentation import GapSurface, Segmentation, TissueLevels
from hipwright.engines.segmentation.surface_finish import finished
from hipwright.engines.segmentation.surface_parting import Neighbor, parted
from hipwright.engines.segmentation.surface_start import start_mesh
from hipwright.engines.segmentation.surface_tunnels import euler_of, without_tunnels
from tests.unit.engines.segmentation.walled_balls import ball, grid_of, ring, scanned

FEMUR, HIP = Bone.FEMUR_RIGHT, Bone.HIP_BONE_RIGHT
CENTER = np.array([22.0, 22.0, 22.0])
LEVELS = TissueLevels(
    soft_hu=40.0,
    cortex_hu=1300.0,
    noise_hu=12.0,
    threshold_hu=300.0,
    blur_mm=0.5,
    slice_blur_mm=0.5,
)


def off_ball(model, center, radius):
    return np.linalg.norm(model.surface.vertices - center, axis=1) - radius


def one_ball(**scan):
    grid = grid_of((46, 64, 64))
    return scanned(grid, [ball(grid, FEMUR, CENTER, 15.3)], **scan)


def told(labels):
    return Segmentation(labels=labels, levels=LEVELS)


def test_the_surface_of_a_walled_ball_lies_within_a_tenth_of_a_voxel():
    volume, labels = one_ball()
    (model,), remarks = bone_models(volume, told(labels))
    off = off_ball(model, CENTER, 15.3)
    assert model.surface.is_closed
    assert model.surface.volume_mm3 > 0
    assert abs(off.mean()) < 0.04  # mm
    assert np.abs(off).max() < 0.2  # mm; a voxel is 0.7 to 1.0 mm
    assert not model.cut_low
    assert not model.cut_high
    assert remarks == ()


def test_labels_half_a_voxel_too_wide_or_too_narrow_give_the_same_surface():
    volume, labels = one_ball()
    grid = labels.grid
    wide = ball(grid, FEMUR, CENTER, 15.3 + 0.5)
    narrow = ball(grid, FEMUR, CENTER, 15.3 - 0.5)
    for body in (wide, narrow):
        codes = np.where(body.heights < 0, FEMUR.code, 0).astype(np.uint8)
        (model,), _ = bone_models(volume, told(LabelVolume(codes=codes, grid=grid)))
        assert abs(off_ball(model, CENTER, 15.3).mean()) < 0.06  # mm


def test_noise_and_brightness_hardly_move_the_surface():
    for scan in ({"noise": 40.0}, {"cortex": 1420.0}, {"blur_mm": 0.7}):
        volume, labels = one_ball(**scan)
        (model,), _ = bone_models(volume, told(labels))
        off = off_ball(model, CENTER, 15.3)
        assert abs(off.mean()) < 0.12  # mm
        assert np.percentile(np.abs(off), 95) < 0.3  # mm


def test_a_sheared_grid_gives_the_same_ball():
    grid = grid_of((60, 64, 64), shear=math.tan(math.radians(12)), origin=(0.0, 0.0, 5.0))
    volume, labels = scanned(grid, [ball(grid, FEMUR, CENTER, 15.3)])
    (model,), _ = bone_models(volume, told(labels))
    assert abs(off_ball(model, CENTER, 15.3).mean()) < 0.05
    assert np.abs(off_ball(model, CENTER, 15.3)).max() < 0.3


def test_thick_slices_are_refined_and_fine_pixels_made_coarser():
    grid = grid_of((30, 110, 110), spacing=(1.5, 0.4, 0.4))
    volume, labels = scanned(grid, [ball(grid, FEMUR, CENTER, 15.3)], blur_mm=0.6)
    (model,), _ = bone_models(volume, told(labels))
    assert np.percentile(np.abs(off_ball(model, CENTER, 15.3)), 95) < 0.35
    assert len(model.surface.faces) < 40000


def test_a_ball_that_the_scan_cuts_gets_a_flat_lid_at_the_outermost_slice():
    grid = grid_of((30, 64, 64))
    volume, labels = scanned(grid, [ball(grid, FEMUR, CENTER, 15.3)])
    (model,), _ = bone_models(volume, told(labels))
    assert model.cut_high
    assert not model.cut_low
    assert model.surface.is_closed
    top = model.surface.vertices[:, 2].max()
    assert top == pytest.approx(29.0, abs=1e-6)
    on_lid = np.abs(model.surface.vertices[:, 2] - top) < 1e-6
    off = off_ball(model, CENTER, 15.3)
    assert np.abs(off[~on_lid]).max() < 0.3


def test_an_upside_down_stack_names_its_ends_by_the_body():
    grid = grid_of((30, 64, 64), spacing=(-1.0, 0.7, 0.7), origin=(0.0, 0.0, 38.0))
    volume, labels = scanned(grid, [ball(grid, FEMUR, CENTER, 15.3)])
    (model,), _ = bone_models(volume, told(labels))
    assert model.cut_low
    assert not model.cut_high


def test_mirrored_volumes_give_mirrored_surfaces():
    volume, labels = one_ball(noise=20.0)
    (model,), _ = bone_models(volume, told(labels))
    grid = volume.grid
    codes = np.where(labels.codes[:, :, ::-1] > 0, Bone.FEMUR_LEFT.code, 0).astype(np.uint8)
    flipped = Volume(values=volume.values[:, :, ::-1].copy(), grid=grid, slice_thickness_mm=1.0)
    (mirror,), _ = bone_models(flipped, told(LabelVolume(codes=codes, grid=grid)))
    width = (grid.shape[2] - 1) * 0.7
    back = mirror.surface.vertices * [-1, 1, 1] + [width, 0, 0]
    own = np.sort(off_ball(model, CENTER, 0.0))
    other = np.sort(np.linalg.norm(back - CENTER, axis=1))
    assert abs(own.mean() - other.mean()) < 0.005  # mm
    assert model.surface.volume_mm3 == pytest.approx(mirror.surface.volume_mm3, rel=1e-3)


def gap_between(gap_radius):
    rows, columns = 60, 120
    return GapSurface(
        femur=FEMUR,
        center_mm=CENTER,
        axes=np.eye(3),
        radius_mm=np.full((rows, columns), gap_radius),
        acts=np.ones((rows, columns), dtype=bool),
    )


def cup_and_ball(gap_mm):
    """A ball in a hollow ball: the joint is a shell of constant width."""
    grid = grid_of((62, 88, 88))
    center = np.array([30.0, 30.0, 30.0])
    head = ball(grid, FEMUR, center, 14.0)
    outside = ball(grid, HIP, center, 20.0)
    hollow = ball(grid, HIP, center, 14.0 + gap_mm)
    heights = np.maximum(outside.heights, -hollow.heights)
    heights = np.maximum(heights, center[2] - 2.0 - places_z(grid))
    cup = type(head)(bone=HIP, heights=heights, wall_mm=1.2)
    return (*scanned(grid, [head, cup]), center)


def places_z(grid):
    return grid.to_mm(np.stack(np.indices(grid.shape), axis=-1).astype(float))[..., 2]


@pytest.mark.parametrize("gap_mm", [1.0, 2.5])
def test_the_width_of_a_narrow_joint_is_kept_and_nothing_touches(gap_mm):
    volume, labels, center = cup_and_ball(gap_mm)
    gap = gap_between(14.0 + gap_mm / 2)
    gap = GapSurface(
        femur=FEMUR, center_mm=center, axes=gap.axes, radius_mm=gap.radius_mm, acts=gap.acts
    )
    segmentation = Segmentation(labels=labels, levels=LEVELS, gaps=(gap,))
    models, _ = bone_models(volume, segmentation)
    cup, head = models
    assert (cup.bone, head.bone) == (HIP, FEMUR)
    up = head.surface.vertices[head.surface.vertices[:, 2] > center[2] + 4]
    assert abs((np.linalg.norm(up - center, axis=1) - 14.0).mean()) < 0.12
    inner = np.linalg.norm(cup.surface.vertices - center, axis=1)
    inner = inner[(inner < 16.9) & (cup.surface.vertices[:, 2] > center[2] + 4)]
    assert abs(inner.mean() - 14.0 - gap_mm) < 0.15
    assert inner.min() > np.linalg.norm(up - center, axis=1).max()


def test_bones_are_kept_apart_by_their_labels_alone_where_no_gap_is_known():
    volume, labels, center = cup_and_ball(1.0)
    models, _ = bones_from_labels(volume, labels, part="knee")
    assert [m.part for m in models] == ["knee", "knee"]
    cup, head = (m.surface for m in models)
    assert signed_distances_mm(cup.vertices, cup.faces, head.vertices).min() > 0.0
    up = head.vertices[head.vertices[:, 2] > center[2] + 4]
    off = abs((np.linalg.norm(up - center, axis=1) - 14.0).mean())
    assert off < 2.5 * models[1].quality.edge_bias_sd_mm  # thin walls hide how bright cortex is
    assert off < 0.25  # mm


def test_a_ring_keeps_its_hole_and_a_ball_loses_a_tunnel_with_a_note():
    grid = grid_of((70, 40, 100))
    body = ring(grid, HIP, np.array([34.0, 14.0, 34.0]), 20.0, 8.0)
    volume, labels = scanned(grid, [body])
    (model,), _ = bone_models(volume, told(labels))
    assert handles(model.surface.faces) == 1
    assert model.quality.tunnels == 0
    volume, labels = one_ball()
    codes = labels.codes.copy()
    codes[:, 31:33, 31:33] = 0
    pierced = LabelVolume(codes=codes, grid=labels.grid)
    (model,), remarks = bone_models(volume, told(pierced))
    assert handles(model.surface.faces) == 0
    assert [r.code for r in remarks if r.code == "tunnels_closed"] == ["tunnels_closed"]


def test_a_plug_is_set_only_where_it_stops_a_tunnel():
    mask = np.zeros((20, 20, 20), dtype=bool)
    mask[4:16, 4:16, 4:16] = True
    mask[2, 10, 10] = mask[3, 10, 10] = True  # a bump beside which a closing would fill
    untouched, none = without_tunnels(mask, ring=False)
    assert none == 0
    assert np.array_equal(untouched, mask)
    pierced = mask.copy()
    pierced[:, 9, 9] = False
    assert euler_of(pierced) == 0
    mended, one = without_tunnels(pierced, ring=False)
    assert one == 1
    assert euler_of(mended) == 1
    kept, none = without_tunnels(pierced, ring=True)
    assert none == 0
    assert np.array_equal(kept, pierced)


def test_specks_are_left_out_with_a_note():
    volume, labels = one_ball()
    codes = labels.codes.copy()
    codes[2:9, 2:9, 2:9] = FEMUR.code
    (model,), remarks = bone_models(volume, told(LabelVolume(codes=codes, grid=labels.grid)))
    assert "specks_dropped" in [r.code for r in remarks]
    assert np.abs(off_ball(model, CENTER, 15.3)).max() < 0.2


def test_bones_without_voxels_and_other_structures_get_no_model():
    volume, labels = one_ball()
    codes = np.where(labels.codes > 0, Bone.SACRUM.code, 0).astype(np.uint8)
    assert bone_models(volume, told(LabelVolume(codes=codes, grid=labels.grid)))[0] == ()
    assert start_mesh(labels, HIP.code, ring=True) is None
    flat = np.zeros_like(codes)
    flat[5, 5:20, 5:20] = FEMUR.code
    assert start_mesh(LabelVolume(codes=flat, grid=labels.grid), FEMUR.code, ring=False) is None


def test_progress_rises_to_one():
    volume, labels = one_ball()
    shares: list[float] = []
    bone_models(volume, told(labels), progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)


def test_levels_measured_from_labels_are_near_those_of_the_scan():
    volume, labels = one_ball(noise=20.0)
    levels = measured_levels(volume, labels)
    assert levels.soft_hu == pytest.approx(40.0, abs=15.0)
    assert levels.noise_hu == pytest.approx(20.0, rel=0.3)
    assert 700 < levels.cortex_hu < 1350


def test_meshes_that_ran_into_each_other_are_parted():
    import trimesh

    one = trimesh.creation.icosphere(subdivisions=4, radius=10.0)
    first, faces = np.asarray(one.vertices), np.asarray(one.faces, dtype=np.int32)
    second = first + np.array([19.6, 0.0, 0.0])
    near = np.ones(len(first), dtype=bool)
    a, b, bridges = parted(
        Neighbor(vertices=first, faces=faces, near=near),
        Neighbor(vertices=second, faces=faces, near=near),
    )
    assert bridges == (1, 1)
    middle = 9.8
    assert a[:, 0].max() < middle + 0.05
    assert b[:, 0].min() > middle - 0.05
    assert b[:, 0].min() - a[:, 0].max() > 0.0
    c, _, none = parted(
        Neighbor(vertices=first, faces=faces, near=near),
        Neighbor(vertices=first + np.array([40.0, 0.0, 0.0]), faces=faces, near=near),
    )
    assert none == (0, 0)
    assert np.array_equal(c, first)


def test_an_open_mesh_cannot_be_finished():
    vertices = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    faces = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)
    with pytest.raises(SurfaceError, match="closed mesh"):
        finished(vertices, faces, grid_of((4, 4, 4)), np.zeros((3, 2), dtype=bool))
    solid = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], dtype=np.int32)
    cut = np.zeros((3, 2), dtype=bool)
    cut[0, 0] = True
    far = grid_of((4, 4, 4), origin=(0.0, 0.0, 50.0))
    with pytest.raises(SurfaceError, match="nothing left"):
        finished(vertices, solid, far, cut)
