"""Markers of the bones: told from where the heads lie, however the patient lies."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from hipwright.domain.anatomy import Bone
from hipwright.engines.segmentation.rough_labels import mark_other_pubis, markers_of

HEADS = np.array([[-85.0, 0.0, 0.0], [85.0, 0.0, 0.0]])
PLACES = np.array(
    [
        [0.0, 70.0, 60.0],  # sacrum, at its midline
        [-50.0, 70.0, 60.0],  # the wings of the sacrum: for the walk to say
        [50.0, 70.0, 60.0],
        [-100.0, 20.0, 60.0],  # the wings of the ilia
        [100.0, 20.0, 60.0],
    ]
)
EXPECTED = [
    Bone.SACRUM.code,
    0,
    0,
    Bone.HIP_BONE_RIGHT.code,
    Bone.HIP_BONE_LEFT.code,
]


def hip(center: np.ndarray, lateral: float) -> Any:
    side = "left" if lateral > 0 else "right"
    gap = SimpleNamespace(
        axes=np.eye(3), radius_mm=np.full((8, 16), 26.0), acts=np.zeros((8, 16), bool)
    )
    return SimpleNamespace(
        sphere=SimpleNamespace(center=center, radius_mm=22.0),
        lateral=lateral,
        hip_bone=Bone(f"hip_bone_{side}"),
        femur=Bone(f"femur_{side}"),
        gap=gap,
    )


@pytest.mark.parametrize("turn_deg", [(0, 0, 0), (12, 0, 0), (-12, 0, 0), (10, 8, 0), (0, -9, 0)])
def test_markers_turn_with_the_pelvis(turn_deg: tuple[float, float, float]):
    turn = Rotation.from_euler("zyx", turn_deg, degrees=True)
    heads = turn.apply(HEADS) + 200.0
    pair = (hip(heads[0], -1.0), hip(heads[1], 1.0))
    codes, _ = markers_of(turn.apply(PLACES) + 200.0, pair)
    assert codes.tolist() == EXPECTED


def pubes() -> tuple[np.ndarray, np.ndarray]:
    """Nodes across both pubes, every 3 mm; the symphysis lies 6 mm off the middle."""
    x, y, z = np.meshgrid(
        np.arange(-40.0, 41.0, 3.0), np.arange(-60.0, -39.0, 3.0), np.arange(-50.0, -19.0, 3.0)
    )
    places = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    return places, np.where(np.abs(places[:, 0] - 6.0) < 1.6, 0.9, 0.1).astype(np.float32)


def test_beyond_the_symphysis_lies_the_other_hip_bone():
    places, valley = pubes()
    right = hip(np.array([-85.8, 0.0, 0.0]), -1.0)
    markers = np.zeros(len(places), np.uint8)
    mark_other_pubis(markers, places, valley, [right])
    marked = markers == Bone.HIP_BONE_LEFT.code
    assert marked.any()
    assert places[marked, 0].min() > 6.0
    assert not markers[~marked].any()


@pytest.mark.parametrize("few", [True, False])
def test_without_a_symphysis_nothing_is_marked(few: bool):
    places, valley = pubes()
    if few:
        valley[:] = 0.1
    else:
        valley[:] = 0.1
        valley[:: len(valley) // 14] = 0.9  # here and there, no sheet
    markers = np.zeros(len(places), np.uint8)
    mark_other_pubis(markers, places, valley, [hip(np.array([-85.8, 0.0, 0.0]), -1.0)])
    assert not markers.any()
    pair = [hip(HEADS[0], -1.0), hip(HEADS[1], 1.0)]
    mark_other_pubis(markers, places, pubes()[1], pair)
    assert not markers.any()
