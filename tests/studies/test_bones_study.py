"""What the house promises of its bone models, held on simulated scans.

Run once an issue: ``pytest tests/studies -m slow``. The tables and where they fall short stand
in ``docs/explanation/accuracy.md``.
"""

from __future__ import annotations

from functools import cache

import pytest

from hipwright.domain.side import Side
from tests.bones_at_hand import subject_a_volume
from tests.studies.bones_breaking import break_one
from tests.studies.bones_cases import Case, Found, people_cases, run, subject_a_cases

pytestmark = pytest.mark.slow

HELD = ("base", "slices_2.0", "noise_60", "one_hip")
PEOPLE = 6


@cache
def found(name: str) -> Found:
    return run(subject_a_cases([name])[0])


@pytest.mark.parametrize("name", HELD)
def test_bones_of_the_real_skeleton_keep_to_the_limits(name: str) -> None:
    one = found(name)
    assert not one.missing
    for error in one.bones:
        assert one.limits.holds(error), f"{error.bone.value}: {error.to_model}, {error.to_truth}"
    for hip in one.hips:
        assert one.limits.joint_holds(hip), hip
        assert hip.center_off_mm <= 0.3


def test_thick_slices_are_warned_of() -> None:
    assert all(found("slices_2.0").said_of(e.bone) for e in found("slices_2.0").bones)


@pytest.mark.parametrize("case", people_cases(PEOPLE), ids=lambda c: c.name)
def test_no_drawn_person_is_wrong_without_a_word(case: Case) -> None:
    assert run(case).silent() == ()


def test_results_broken_on_purpose_are_noticed() -> None:
    case = Case(group="subject-a", name="slab_110", make=lambda: subject_a_volume("slab_110"))
    wrong = [b for b in break_one(case, case.make(), Side.RIGHT) if b.is_wrong]
    assert len(wrong) > 5
    assert [b.kind for b in wrong if not b.announced] == []
