"""Drawn people: repeatable, of every kind, within what a person may be, each with a scan."""

from __future__ import annotations

from functools import cache

import numpy as np

from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.domain.side import Side
from hipwright.phantoms.bone_people import BonePerson, HipKind, bone_people, patient_of
from hipwright.phantoms.people import build_person
from hipwright.phantoms.shape_model import DISTORTING_MODES


@cache
def fifty() -> tuple[BonePerson, ...]:
    return bone_people(7, 50)


def test_the_same_seed_gives_the_same_people_and_more_of_them_the_same_first_ones() -> None:
    few = bone_people(7, 3)
    for one, two in zip(few, fifty(), strict=False):
        assert one.spec.left == two.spec.left
        assert one.spec.right == two.spec.right
        assert dict(one.spec.shape) == dict(two.spec.shape)
        assert one.scan == two.scan
    assert bone_people(8, 1)[0].spec.left != few[0].spec.left


def test_every_kind_of_hip_comes_up() -> None:
    drawn = {kind for person in fifty() for kind in person.kinds.values()}
    assert drawn == set(HipKind)
    early = {person.kinds[Side.LEFT] for person in fifty()[: len(HipKind)]}
    assert early == set(HipKind)


def test_hips_are_what_their_kind_says() -> None:
    for person in fifty():
        for side, kind in person.kinds.items():
            hip = person.spec.hip(side)
            assert bool(hip.bumps) == (kind in {HipKind.BUMP, HipKind.OSTEOPHYTES})
            if kind is HipKind.OVERCOVERED:
                assert hip.lateral_center_edge_deg >= 40.0
            if kind is HipKind.DYSPLASTIC:
                assert hip.lateral_center_edge_deg <= 20.0
            if kind is HipKind.NARROWED:
                assert hip.joint_gap_mm <= 2.2


def test_shapes_stay_within_two_standard_deviations_and_scans_differ() -> None:
    weights = np.array([w for person in fifty() for w in person.spec.shape.values()])
    assert np.abs(weights).max() <= 2.0
    assert weights.std() > 0.7
    assert not DISTORTING_MODES & set(fifty()[0].spec.shape)
    assert len({person.scan.block.spacing_mm for person in fifty()}) == 3
    assert {person.scan.kernel for person in fifty()} == {"SHARP", "MEDIUM"}


def test_a_built_person_goes_to_the_scanner_with_closed_bones_and_known_heads() -> None:
    person = fifty()[0]
    built = build_person(read_shape_model(), person.spec)
    patient = patient_of(built)
    for name in ("femur_left", "femur_right", "hip_bone_left", "hip_bone_right"):
        assert patient.bones[name].is_closed
        assert patient.inner is not None
        assert patient.inner[name].volume_mm3 < patient.bones[name].volume_mm3
    for side in Side:
        np.testing.assert_array_equal(patient.heads_mm[side], built.truth.hip(side).head_center)
        assert patient.radii_mm[side] == person.spec.hip(side).head_radius_mm
