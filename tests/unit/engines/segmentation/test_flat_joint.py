"""The surface of a flat joint, between two plates a slanted slit apart."""

from types import SimpleNamespace
from typing import Any

import numpy as np

from hipwright.domain.anatomy import Bone
from hipwright.engines.segmentation.flat_joint import find_flat_joint
from hipwright.engines.segmentation.flooding import UNSURE
from hipwright.engines.segmentation.joint_sides import part_flat_joints

STEP = np.array([1.0, 1.0, 1.0])
SHAPE = (40, 40, 60)
LEVELS: Any = SimpleNamespace(soft_hu=40.0, threshold_hu=300.0, cortex_hu=1240.0)
FIRST, SECOND = Bone.HIP_BONE_LEFT.code, Bone.SACRUM.code


def slit() -> tuple[np.ndarray, np.ndarray]:
    """Values, and how far each voxel lies beyond the slit along x."""
    _, y, x = np.indices(SHAPE)
    off = x - (30.0 + 0.1 * (y - 20.0))
    wall = (np.abs(off) > 1.0) & (np.abs(off) < 3.5)
    return np.where(wall, 1200, np.where(np.abs(off) < 1.0, 80, 250)).astype(np.int16), off


def places() -> np.ndarray:
    """Where rough labels meet: on the slit, to a voxel or two."""
    rng = np.random.default_rng(3)
    y, z = np.meshgrid(np.arange(8.0, 33.0, 3.0), np.arange(8.0, 33.0, 3.0))
    x = 30.0 + 0.1 * (y - 20.0) + rng.uniform(-1.5, 1.5, y.shape)
    return np.stack([x, y, z], axis=-1).reshape(-1, 3)


def test_the_surface_follows_the_dark_slit():
    values, _ = slit()
    joint = find_flat_joint(
        values,
        STEP,
        places(),
        np.array([1.0, 0, 0]),
        soft_hu=40.0,
        bone_hu=300.0,
        cortex_hu=1240.0,
    )
    assert joint is not None
    y = np.arange(12.0, 29.0)
    on = np.stack([30.0 + 0.1 * (y - 20.0), y, np.full(len(y), 20.0)], axis=1)
    assert np.abs(joint.above_mm(on)).max() < 0.8
    assert (joint.above_mm(on + np.array([3.0, 0, 0])) > 2.0).all()
    assert np.isnan(joint.above_mm(on + np.array([30.0, 0, 0]))).all()


def test_bones_that_hardly_meet_have_no_joint():
    values, _ = slit()
    found = find_flat_joint(
        values, STEP, places()[:9], np.array([1.0, 0, 0]), soft_hu=40.0, bone_hu=300.0,
        cortex_hu=1240.0,
    )  # fmt: skip
    assert found is None


def test_unsure_voxels_take_the_bone_of_their_side():
    values, off = slit()
    rough: Any = SimpleNamespace(
        block=(1, 1, 1),
        sure=np.full(SHAPE, UNSURE, np.uint8),
        meeting_places=lambda one, two: (
            places() if {one, two} == {FIRST, SECOND} else np.empty((0, 3))
        ),
    )
    hip: Any = SimpleNamespace(hip_bone=Bone.HIP_BONE_LEFT, lateral=1.0)
    codes, barred = np.full(SHAPE, UNSURE, np.uint8), np.zeros(SHAPE, np.uint8)
    mask = (values > 300).astype(np.uint8)
    part_flat_joints(values, mask, STEP, rough, [hip], LEVELS, codes, barred)
    middle = (slice(15, 25), slice(15, 25))
    bone = mask[middle] > 0
    assert (codes[middle][bone & (off[middle] > 0)] == FIRST).all()
    assert (codes[middle][bone & (off[middle] < 0)] == SECOND).all()
    assert (barred[middle][bone & (off[middle] > 0)] == 1 << (SECOND - 1)).all()
