"""Landmarks that a reader moves, and tilts that a reader says: checked, kept, put back."""

from __future__ import annotations

import pytest

from hipwright.domain.anatomy import BoneLandmarks, SpacePoint
from hipwright.domain.errors import LandmarkError, StaleWriteError
from hipwright.domain.keeping_bones import BoneBuild
from hipwright.domain.side import Side
from hipwright.workflows.move_bone_landmarks import (
    landmarks_in_use,
    move_landmarks,
    put_back,
    reading_by,
    say_tilts,
)
from tests.contract.fakes import MemoryKeeper
from tests.contract.kept_bones import a_build
from tests.contract.kept_things import a_clinic
from tests.stick_bones import StillClock

OBSERVER = "human:obs-1"
CLOCK = StillClock()


@pytest.fixture
def keeper() -> MemoryKeeper:
    return MemoryKeeper()


@pytest.fixture
def build(keeper: MemoryKeeper) -> BoneBuild:
    found = BoneLandmarks(points=(tubercle(0.0), tubercle(0.0, side=Side.RIGHT)))
    return keeper.add_bone_build(a_build(keeper, a_clinic(keeper), landmarks=found))


def tubercle(x_mm: float, side: Side | None = Side.LEFT) -> SpacePoint:
    return SpacePoint(id="pubic_tubercle", side=side, at_mm=(x_mm, 0.0, 0.0), sd_mm=2.0)


def test_a_moved_landmark_takes_the_place_of_the_found_one_and_can_be_put_back(
    keeper: MemoryKeeper, build: BoneBuild
) -> None:
    assert reading_by(keeper, build, None) is None
    assert landmarks_in_use(build, None) == build.landmarks
    first = move_landmarks(
        keeper, build, OBSERVER, [tubercle(5.0)], expected_version=0, clock=CLOCK
    )
    other = tubercle(7.0, side=Side.RIGHT)
    second = move_landmarks(keeper, build, OBSERVER, [other], expected_version=1, clock=CLOCK)
    assert (first.version, second.version) == (1, 2)
    used = landmarks_in_use(build, second)
    left, right = (used.point("pubic_tubercle", side) for side in (Side.LEFT, Side.RIGHT))
    assert left is not None
    assert right is not None
    assert (left.at_mm[0], left.moved, right.at_mm[0]) == (5.0, True, 7.0)
    back = put_back(
        keeper,
        build,
        OBSERVER,
        [("pubic_tubercle", Side.LEFT)],
        expected_version=2,
        clock=CLOCK,
    )
    assert landmarks_in_use(build, back).point("pubic_tubercle", Side.LEFT) == tubercle(0.0)
    assert reading_by(keeper, build, OBSERVER) == back
    assert reading_by(keeper, build, "human:obs-2") is None


def test_tilts_are_kept_beside_the_landmarks(keeper: MemoryKeeper, build: BoneBuild) -> None:
    move_landmarks(keeper, build, OBSERVER, [tubercle(5.0)], expected_version=0, clock=CLOCK)
    told = say_tilts(
        keeper,
        build,
        OBSERVER,
        standing_deg=-6.5,
        supine_deg=None,
        source="standing film",
        expected_version=1,
        clock=CLOCK,
    )
    assert (told.standing_tilt_deg, told.supine_tilt_deg) == (-6.5, None)
    assert len(told.moved.points) == 1


@pytest.mark.parametrize("tilt", [61.0, -90.0, float("nan"), float("inf")])
def test_a_tilt_that_no_pelvis_has_is_refused(
    keeper: MemoryKeeper, build: BoneBuild, tilt: float
) -> None:
    with pytest.raises(LandmarkError, match="supine tilt"):
        say_tilts(
            keeper,
            build,
            OBSERVER,
            standing_deg=None,
            supine_deg=tilt,
            source="",
            expected_version=0,
            clock=CLOCK,
        )


def test_a_feature_that_is_computed_and_a_wrong_side_are_refused(
    keeper: MemoryKeeper, build: BoneBuild
) -> None:
    wrong = [
        SpacePoint(id="femoral_head_sphere", side=Side.LEFT, at_mm=(0, 0, 0), sd_mm=1.0),
        SpacePoint(id="no such thing", side=Side.LEFT, at_mm=(0, 0, 0), sd_mm=1.0),
        tubercle(1.0, side=None),
    ]
    for point in wrong:
        with pytest.raises(LandmarkError):
            move_landmarks(keeper, build, OBSERVER, [point], expected_version=0, clock=CLOCK)
    assert reading_by(keeper, build, None) is None


def test_a_stale_move_is_refused(keeper: MemoryKeeper, build: BoneBuild) -> None:
    move_landmarks(keeper, build, OBSERVER, [tubercle(5.0)], expected_version=0, clock=CLOCK)
    with pytest.raises(StaleWriteError):
        move_landmarks(keeper, build, OBSERVER, [tubercle(6.0)], expected_version=0, clock=CLOCK)
