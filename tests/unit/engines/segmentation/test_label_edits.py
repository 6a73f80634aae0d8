"""A reader's edits outrank the program; remarks tell what is wrong with a scan."""

from dataclasses import replace

import numpy as np
import pytest

from hipwright.domain.anatomy import Bone, Severity
from hipwright.domain.errors import SegmentationError
from hipwright.domain.volume import Cut, LabelEdits, Seed
from hipwright.engines.imaging.upright_volume import upright
from hipwright.engines.segmentation.head_to_shaft import look_at_neck
from hipwright.engines.segmentation.label_remarks import volume_remarks
from hipwright.engines.segmentation.labels import segment
from hipwright.engines.segmentation.reader_edits import upright_edits
from hipwright.engines.segmentation.scan_remarks import bias_remarks, contrast_remarks
from tests.unit.engines.segmentation.label_volumes import HEADS, Scene, one_hip_scene

RIGHT = HEADS[Bone.FEMUR_RIGHT]


@pytest.fixture(scope="module")
def crop() -> Scene:
    return one_hip_scene()


def index_of(scene: Scene, place: np.ndarray) -> tuple[int, int, int]:
    z, y, x = np.rint((place - scene.low)[::-1] / scene.spacing).astype(int)
    return z, y, x


def test_paint_eraser_seed_and_cut_outrank_what_is_found(crop: Scene):
    shape = crop.values.shape
    painted = index_of(crop, RIGHT + np.array([30.0, -50, 40]))
    erased = index_of(crop, RIGHT + np.array([0.0, 0, 10]))
    flat = np.array([np.ravel_multi_index(p, shape) for p in (painted, erased)])
    codes = np.array([Bone.TIBIA_LEFT.code, 0], np.uint8)
    order = np.argsort(flat)
    seed_at = RIGHT + np.array([-38.0, 8, -70])
    cut_at = RIGHT + np.array([-40.0, 8, -66])
    edits = LabelEdits(
        voxels=flat[order],
        codes=codes[order],
        shape=shape,
        cuts=(Cut(center_mm=tuple(cut_at), normal=(0, 0, 1), radius_mm=30.0),),
        seeds=(Seed(at_mm=tuple(seed_at + np.array([0, 0, -8])), code=Bone.TIBIA_RIGHT.code),),
    )
    found = segment(crop.volume(), edits=edits)
    labels = found.labels.codes
    assert labels[painted] == Bone.TIBIA_LEFT.code
    assert labels[erased] == 0
    below = labels[: index_of(crop, cut_at)[0] - 2]
    assert (below == Bone.TIBIA_RIGHT.code).sum() > 1000
    assert not (below == Bone.FEMUR_RIGHT.code).any()
    femur = labels == Bone.FEMUR_RIGHT.code
    shin = labels == Bone.TIBIA_RIGHT.code
    assert femur.sum() > 10_000
    assert np.argwhere(shin)[:, 0].max() <= np.argwhere(femur)[:, 0].min()


def test_a_cut_within_one_bone_stays_open():
    values = np.zeros((9, 9, 9), np.uint8)
    values[:] = 3
    scene = Scene(
        values=values.astype(np.int16), truth=values, low=np.zeros(3), spacing=np.ones(3)
    )
    volume = scene.volume()
    cut = Cut(center_mm=(4.0, 4.0, 4.0), normal=(0, 0, 1), radius_mm=2.0)
    edits = replace(LabelEdits.none((9, 9, 9)), cuts=(cut,))
    by_hand = upright_edits(edits, upright(volume.values, volume.grid))
    codes = values.copy()
    by_hand.close_cuts(codes)
    assert (codes[4, 4, 3:6] == 0).all()
    assert (codes[4, 0] == 3).all()
    codes = values.copy()
    codes[4:] = 1
    by_hand.close_cuts(codes)
    assert set(np.unique(codes)) == {1, 3}


def test_edits_of_another_volume_or_of_no_bone_are_refused(crop: Scene):
    with pytest.raises(SegmentationError, match="edits of a volume"):
        segment(crop.volume(), edits=LabelEdits.none((3, 4, 5)))
    wrong = replace(LabelEdits.none(crop.values.shape), seeds=(Seed(at_mm=(0, 0, 0), code=44),))
    with pytest.raises(SegmentationError, match="code 44"):
        segment(crop.volume(), edits=wrong)


def test_metal_beside_a_hip_refuses_its_bones(crop: Scene):
    values = crop.values.copy()
    at = index_of(crop, RIGHT + np.array([-30.0, 5, -55]))
    values[tuple(slice(a - 4, a + 5) for a in at)] = 3071
    remarks = segment(replace(crop, values=values).volume()).remarks
    refused = {r.bone for r in remarks if r.severity is Severity.REFUSAL}
    assert refused == {Bone.FEMUR_RIGHT, Bone.HIP_BONE_RIGHT}
    assert any(r.code == "scan.metal" and (r.figure or 0) > (r.limit or 9) for r in remarks)


def test_a_jump_between_slices_is_told_as_motion(crop: Scene):
    moved = crop.values.copy()
    moved[30:] = np.roll(moved[30:], 3, axis=1)
    remarks = segment(replace(crop, values=moved).volume()).remarks
    motion = next(r for r in remarks if r.code == "scan.motion")
    assert motion.figure == pytest.approx(3 * crop.spacing[1], abs=2.0)
    assert not any(r.code == "scan.motion" for r in segment(crop.volume()).remarks)


def test_thick_noisy_and_thin_boned_scans_are_told():
    crop = one_hip_scene(spacing=np.array([2.0, 1.2, 1.2]))
    crop = crop.cropped(RIGHT + np.array([-70, -62, -50]), RIGHT + np.array([66, 62, 70]))
    rng = np.random.default_rng(1)
    values = crop.values.astype(float) + rng.normal(0, 60, crop.values.shape)
    remarks = segment(replace(crop, values=values.astype(np.int16)).volume()).remarks
    codes = {r.code for r in remarks}
    assert {"scan.thick_slices", "scan.noise", "coverage.lesser_trochanter"} <= codes
    for remark in remarks:
        assert remark.text.endswith(".")
        assert len(remark.text) > 60


def test_a_cut_neck_and_a_tunnel_are_seen():
    z, y, x = np.indices((80, 80, 110)).astype(float)
    center, neck = np.array([35.0, 40.0, 40.0]), np.array([1.0, 0.0, 0.0])
    ball = (x - 35) ** 2 + (y - 40) ** 2 + (z - 40) ** 2 < 23**2
    shaft = ((y - 40) ** 2 + (z - 40) ** 2 < 15**2) & (x > 35)
    whole = (ball | shaft).astype(np.uint8) * 3
    spacing = np.ones(3)
    sound = look_at_neck(whole, 3, spacing, center, 23.0, neck)
    assert sound.sound
    cut = whole.copy()
    cut[:, :, 58:62] = 0
    assert not look_at_neck(cut, 3, spacing, center, 23.0, neck).one_solid
    holed = whole.copy()
    holed[(np.abs(x - 58) < 4) & (np.abs(y - 40) < 4)] = 0
    seen = look_at_neck(holed, 3, spacing, center, 23.0, neck)
    assert seen.tunnels == 1
    assert not seen.sound


def test_unlike_hip_bones_are_refused_unless_the_field_cuts_one():
    volumes = {Bone.HIP_BONE_RIGHT: 300.0, Bone.HIP_BONE_LEFT: 380.0}
    refused = volume_remarks(volumes, [])
    assert [r.severity for r in refused] == [Severity.REFUSAL] * 2
    assert not volume_remarks(volumes, [Bone.HIP_BONE_LEFT])
    assert not volume_remarks({**volumes, Bone.HIP_BONE_LEFT: 310.0}, [])


def test_brighter_cortex_of_one_side_and_contrast_medium_are_told():
    coarse = np.full((20, 40, 60), 40, np.int16)
    coarse[:, 10:14, 5:25], coarse[:, 10:14, 35:55] = 900, 1150
    step = np.full(3, 1.5)
    found = bias_remarks(coarse, 45.0, step, 300.0)
    assert found[0].figure == pytest.approx(100 * (1150 / 900 - 1), abs=0.1)
    assert not bias_remarks(np.minimum(coarse, 900).astype(np.int16), 45.0, step, 300.0)
    labeled = (coarse > 500).astype(np.uint8)
    assert not contrast_remarks(coarse, labeled, step, 40.0)
    coarse[:, 28:34, 20:30] = 280
    assert contrast_remarks(coarse, labeled, step, 40.0)[0].code == "scan.contrast"
