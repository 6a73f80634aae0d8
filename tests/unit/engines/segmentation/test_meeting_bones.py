"""Pieces and skins with the wrong name, where hip bones and sacrum meet."""

import numpy as np

from hipwright.domain.anatomy import Bone
from hipwright.engines.segmentation.meeting_bones import hand_over, settle_skins

HIP, SACRUM = Bone.HIP_BONE_LEFT.code, Bone.SACRUM.code
SPACING = np.array([1.0, 1.0, 1.0])


def two_blocks() -> np.ndarray:
    """A sacrum and a hip bone with a gap of two voxels between them."""
    codes = np.zeros((20, 24, 40), np.uint8)
    codes[2:18, 2:22, 2:18] = SACRUM
    codes[2:18, 2:22, 20:38] = HIP
    return codes


def test_a_piece_cut_off_a_bone_goes_back_to_it_and_may_be_filled():
    truth = two_blocks()
    codes, barred = truth.copy(), np.zeros(truth.shape, np.uint8)
    codes[6:9, 6:9, 36:38] = SACRUM
    barred[5:12, 5:12, 30:38] = 1 << (HIP - 1)
    hand_over(codes, barred, SPACING)
    np.testing.assert_array_equal(codes, truth)
    assert not barred[6:9, 6:9, 34:38].any()


def test_a_loose_piece_that_touches_no_other_bone_is_left_alone():
    codes = two_blocks()
    codes[10, 22:24, 2:18] = 0
    codes[4:8, 10:14, 18] = 0
    codes[0, 0, :8] = SACRUM
    before = codes.copy()
    hand_over(codes, np.zeros(codes.shape, np.uint8), SPACING)
    np.testing.assert_array_equal(codes, before)


def test_a_skin_of_one_bone_on_the_other_goes_to_the_one_it_lies_on():
    truth = two_blocks()
    truth[9:11, 9:11, 18:20] = SACRUM
    codes = truth.copy()
    codes[6:14, 6:14, 17] = HIP
    codes[9:11, 9:11, 17:20] = HIP
    settle_skins(codes, SPACING)
    assert (codes[6:14, 6:14, 17] == SACRUM).all()
    assert (codes[2:18, 2:22, 20:38] == HIP).all()


def test_bones_that_only_touch_stay_as_they_are():
    codes = two_blocks()
    codes[2:18, 2:22, 18:20] = HIP
    before = codes.copy()
    settle_skins(codes, SPACING)
    np.testing.assert_array_equal(codes, before)


def test_one_bone_alone_is_no_pair():
    codes = two_blocks()
    codes[codes == HIP] = 0
    before = codes.copy()
    settle_skins(codes, SPACING)
    hand_over(codes, np.zeros(codes.shape, np.uint8), SPACING)
    np.testing.assert_array_equal(codes, before)
