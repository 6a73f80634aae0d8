"""Labels of simple hips: names, joints, grids, crops, mirrors, refusals, progress."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt, map_coordinates

from hipwright.domain.anatomy import Bone, Severity
from hipwright.domain.errors import SegmentationError
from hipwright.domain.volume import Modality, Volume, VolumeGrid
from hipwright.engines.segmentation.labels import segment, segment_block, segment_knee
from hipwright.engines.segmentation.segmentation import Segmentation
from tests.unit.engines.segmentation.label_volumes import (
    HEADS,
    RADIUS,
    Scene,
    dice,
    hips_scene,
    knee_scene,
    one_hip_scene,
)

HIP_BONES = (Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT)
HALF_DIAGONAL_MM = 0.75  # a voxel of 1.0 x 0.75 x 0.75 mm that the true surface cuts
FEMORA = (Bone.FEMUR_RIGHT, Bone.FEMUR_LEFT)


@pytest.fixture(scope="module")
def scene() -> Scene:
    return hips_scene()


@pytest.fixture(scope="module")
def found(scene: Scene) -> Segmentation:
    return segment(scene.volume())


def test_each_bone_is_named_and_no_voxel_of_one_goes_to_another(scene: Scene, found: Segmentation):
    codes = found.labels.codes
    for bone in (*HIP_BONES, *FEMORA):
        assert dice(codes, scene.truth, bone) > 0.93, bone
    for femur, hip_bone in zip(FEMORA, HIP_BONES, strict=True):
        assert not ((codes == femur.code) & (scene.truth == hip_bone.code)).any()
        assert not ((codes == hip_bone.code) & (scene.truth == femur.code)).any()
    away = (codes == Bone.SACRUM.code) & (scene.truth != Bone.SACRUM.code) & (scene.truth > 0)
    assert away.sum() * scene.spacing.prod() < 50.0  # mm³ at the sacroiliac joints
    assert not codes[:, -5:].any()  # the table is no bone


def test_heads_lie_where_they_were_built(found: Segmentation):
    assert [head.femur for head in found.heads] == list(FEMORA)
    for head in found.heads:
        assert np.linalg.norm(np.array(head.center_mm) - HEADS[head.femur]) < 0.3
        assert head.radius_mm == pytest.approx(RADIUS, abs=0.5)
        assert head.neck[0] * np.sign(HEADS[head.femur][0]) > 0.5
        assert head.hip_bone in HIP_BONES
        assert found.gap_of(head.femur) is found.gap_of(head.hip_bone)
        assert found.head_of(head.hip_bone) is head


def test_the_gap_surface_lies_between_head_and_socket(found: Segmentation):
    for gap in found.gaps:
        inside = gap.radius_mm[gap.acts]
        assert np.percentile(inside, 5) > RADIUS
        assert np.percentile(inside, 95) < RADIUS + 3.0 + 0.5
        on_it = gap.center_mm + (RADIUS + 1.5) * gap.axes[2]
        assert abs(float(gap.beyond_mm(on_it))) < 1.5


def test_the_field_tells_which_bones_it_cuts(found: Segmentation):
    assert set(FEMORA) <= found.cut_low
    assert not set(FEMORA) & found.cut_high
    assert not found.refused


@pytest.mark.parametrize("flips", [(-1, 1, 1), (1, -1, -1)])
def test_labels_do_not_depend_on_the_order_of_slices_rows_and_columns(
    scene: Scene, found: Segmentation, flips: tuple[int, int, int]
):
    volume = scene.volume()
    turned = tuple(slice(None, None, s) for s in flips)
    last = (np.array(volume.grid.shape) - 1) * (np.array(flips) < 0)
    grid = VolumeGrid(
        shape=tuple(np.array(volume.grid.shape)[[1, 0, 2]].tolist()),
        origin_mm=volume.grid.to_mm(last),
        steps_mm=(volume.grid.steps_mm * np.array(flips)[:, None])[[1, 0, 2]],
        fixed_to="test",
    )
    values = np.ascontiguousarray(volume.values[turned].transpose(1, 0, 2))
    again = segment(Volume(values=values, grid=grid))
    home = again.labels.codes.transpose(1, 0, 2)[turned]
    np.testing.assert_array_equal(home, found.labels.codes)
    assert again.heads[0].center_mm == pytest.approx(found.heads[0].center_mm, abs=1e-6)


def test_a_tilted_gantry_gives_the_same_bones(scene: Scene):
    volume = scene.volume()
    tilt = np.radians(12.0)
    steps = volume.grid.steps_mm.copy()
    steps[1] = steps[1] @ np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, 0, 1]])
    steps[1] *= scene.spacing[1] / np.linalg.norm(steps[1])
    grid = replace(volume.grid, steps_mm=steps)
    places = grid.to_mm(np.moveaxis(np.indices(grid.shape), 0, -1).astype(float))
    index = np.moveaxis(volume.grid.to_indices(places), -1, 0)
    values = map_coordinates(volume.values, index, order=1, cval=-1000).astype(np.int16)
    truth = map_coordinates(scene.truth, index, order=0, cval=0)
    tilted = segment(Volume(values=values, grid=grid))
    for bone in FEMORA:
        assert dice(tilted.labels.codes, truth, bone) > 0.9, bone
    for head in tilted.heads:
        assert np.linalg.norm(np.array(head.center_mm) - HEADS[head.femur]) < 0.5


def test_a_mirrored_volume_gives_mirrored_labels(scene: Scene, found: Segmentation):
    values = np.ascontiguousarray(scene.values[:, :, ::-1])
    width = (scene.values.shape[2] - 1) * scene.spacing[2]
    mirrored = replace(scene, values=values, low=scene.low * [1, 1, 1])
    mirrored = replace(mirrored, low=np.array([-scene.low[0] - width, *scene.low[1:]]))
    other = segment(mirrored.volume())
    for one, two in zip(FEMORA, FEMORA[::-1], strict=True):
        a = found.labels.codes == one.code
        b = (other.labels.codes == two.code)[:, :, ::-1]
        assert (a != b).sum() < 0.002 * a.sum()
    centers = [np.array(h.center_mm) for h in other.heads]
    for head, center in zip(found.heads, centers[::-1], strict=True):
        assert np.array(head.center_mm) == pytest.approx(center * [-1, 1, 1], abs=0.05)


@pytest.mark.parametrize("femur", FEMORA)
def test_one_hip_alone_is_found_with_its_side(scene: Scene, femur: Bone):
    x = HEADS[femur][0]
    low, high = np.array([x - 68.0, -80, -84]), np.array([x + 68.0, 104, 90])
    crop = scene.cropped(low, high)
    alone = segment(crop.volume())
    assert [head.femur for head in alone.heads] == [femur]
    assert dice(alone.labels.codes, crop.truth, femur) > 0.9
    codes = {r.code for r in alone.remarks}
    assert "pair.one_side" in codes
    assert "coverage.hip_bone" in codes


def test_a_joint_of_a_millimeter_stays_open():
    narrow = one_hip_scene(gap_mm=1.2, spacing=np.array([1.0, 0.75, 0.75]))
    codes = segment(narrow.volume()).labels.codes
    femur, hip_bone = Bone.FEMUR_RIGHT.code, Bone.HIP_BONE_RIGHT.code
    assert dice(codes, narrow.truth, Bone.FEMUR_RIGHT) > 0.9
    for one, other in ((femur, hip_bone), (hip_bone, femur)):
        deep = distance_transform_edt(narrow.truth == other, sampling=narrow.spacing)
        wrong = deep[(codes == one) & (narrow.truth == other)]
        assert wrong.max(initial=0.0) <= HALF_DIAGONAL_MM  # its middle, from the nearest outside
        assert len(wrong) < 10


def test_knees_are_told_apart_by_bone_and_side():
    knees = knee_scene()
    found = segment_block(knees.volume())
    assert found.part == "knee"
    assert not found.heads
    for name in ("femur_right", "femur_left", "tibia_right", "tibia_left"):
        assert dice(found.labels.codes, knees.truth, Bone(name)) > 0.93, name
    assert {Bone("tibia_left"), Bone("tibia_right")} <= found.cut_low
    assert {Bone("femur_left"), Bone("femur_right")} <= found.cut_high


@pytest.mark.slow
def test_a_knee_is_refused_where_a_hip_is_needed():
    with pytest.raises(SegmentationError, match="cannot find a hip"):
        segment(knee_scene().volume())


def test_what_is_neither_hip_nor_knee_is_refused(scene: Scene):
    volume = scene.cropped(np.array([-60.0, 0, 20]), np.array([60.0, 100, 70])).volume()
    with pytest.raises(SegmentationError, match="cannot find a hip"):
        segment_block(volume)
    with pytest.raises(SegmentationError, match="cannot find"):
        segment_knee(volume)


def test_magnetic_resonance_and_other_units_are_refused(scene: Scene):
    volume = scene.volume()
    with pytest.raises(SegmentationError, match="a volume made by MR"):
        segment(replace(volume, modality=Modality.MR))
    with pytest.raises(SegmentationError, match="Hounsfield"):
        segment(replace(volume, values=(volume.values // 4 + 1000).astype(np.int16)))
    with pytest.raises(SegmentationError, match="coarse voxels"):
        segment(replace(volume, values=np.minimum(volume.values, 120).astype(np.int16)))


def test_progress_is_told_step_by_step_and_can_end_the_work(scene: Scene):
    steps: list[int] = []

    def tell(what: str, done: int, total: int) -> None:
        assert what
        assert 0 <= done <= total
        steps.append(done)
        if done == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        segment(scene.volume(), progress=tell)
    assert steps == [0, 1, 2, 3, 4]


def test_severities_are_as_grave_as_they_should_be(found: Segmentation):
    assert all(r.severity is not Severity.REFUSAL for r in found.remarks)
