"""Keep the landmarks that a reader moves on bone models, and the pelvis's tilts."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from hipwright.catalog import load
from hipwright.domain.anatomy import BoneLandmarks, SpacePoint
from hipwright.domain.errors import LandmarkError
from hipwright.domain.keeping_bones import BoneBuild, BoneReading
from hipwright.domain.side import Side
from hipwright.workflows.ports import Clock, WorkspaceKeeper

STEEPEST_DEG = 60.0
"""No pelvis stands or lies at more (judgment: published tilts stay within 40°)."""


def reading_by(
    keeper: WorkspaceKeeper, build: BoneBuild, observer: str | None
) -> BoneReading | None:
    """The reading of an observer, or with ``None`` the one saved last."""
    readings = keeper.bone_readings_of(build.id)
    return next((r for r in readings if observer in {None, r.observer}), None)


def landmarks_in_use(build: BoneBuild, reading: BoneReading | None) -> BoneLandmarks:
    """The landmarks found, with those that a reader moved in their place."""
    return build.landmarks if reading is None else build.landmarks.updated(reading.moved)


def move_landmarks(
    keeper: WorkspaceKeeper,
    build: BoneBuild,
    observer: str,
    points: Iterable[SpacePoint],
    *,
    expected_version: int,
    clock: Clock,
) -> BoneReading:
    """Keep new places of landmarks, beside those the observer moved before.

    Raises
    ------
    LandmarkError
        A landmark cannot be moved, or has the wrong side.
    StaleWriteError
        The same observer has saved since.
    """
    moved = BoneLandmarks(points=tuple(_checked(point) for point in points))
    now = _now(keeper, build, observer, clock)
    return _saved(keeper, replace(now, moved=now.moved.updated(moved)), expected_version)


def put_back(
    keeper: WorkspaceKeeper,
    build: BoneBuild,
    observer: str,
    landmarks: Iterable[tuple[str, Side | None]],
    *,
    expected_version: int,
    clock: Clock,
) -> BoneReading:
    """Let landmarks be where the program found them."""
    back = set(landmarks)
    now = _now(keeper, build, observer, clock)
    rest = tuple(p for p in now.moved if (p.id, p.side) not in back)
    return _saved(keeper, replace(now, moved=BoneLandmarks(points=rest)), expected_version)


def say_tilts(
    keeper: WorkspaceKeeper,
    build: BoneBuild,
    observer: str,
    *,
    standing_deg: float | None,
    supine_deg: float | None,
    source: str,
    expected_version: int,
    clock: Clock,
) -> BoneReading:
    """Keep how the pelvis is tilted when the person stands and lies, and who says so.

    Raises
    ------
    LandmarkError
        A tilt is no angle that a pelvis has.
    """
    for posture, tilt in (("standing", standing_deg), ("supine", supine_deg)):
        if tilt is not None:
            checked_tilt(posture, tilt)
    now = _now(keeper, build, observer, clock)
    told_now = replace(
        now, standing_tilt_deg=standing_deg, supine_tilt_deg=supine_deg, tilt_source=source
    )
    return _saved(keeper, told_now, expected_version)


def checked_tilt(posture: str, tilt_deg: float) -> float:
    """A tilt that a pelvis can have.

    Raises
    ------
    LandmarkError
        It is not one.
    """
    if math.isfinite(tilt_deg) and abs(tilt_deg) <= STEEPEST_DEG:
        return tilt_deg
    raise LandmarkError(
        f"cannot use the {posture} tilt",
        found=f"{tilt_deg}°",
        needed=f"an angle between -{STEEPEST_DEG:.0f}° and {STEEPEST_DEG:.0f}°, "
        "forward tilt positive",
        next_step="Correct it.",
        field=f"{posture}_tilt",
    )


def _now(keeper: WorkspaceKeeper, build: BoneBuild, observer: str, clock: Clock) -> BoneReading:
    kept = reading_by(keeper, build, observer)
    if kept is not None:
        return kept
    return BoneReading(
        id=keeper.new_id(),
        build=build.id,
        observer=observer,
        moved=BoneLandmarks(),
        standing_tilt_deg=None,
        supine_tilt_deg=None,
        tilt_source="",
        version=0,
        saved_at=clock.now(),
    )


def _saved(keeper: WorkspaceKeeper, reading: BoneReading, expected_version: int) -> BoneReading:
    with keeper.transaction(by=reading.observer):
        return keeper.save_bone_reading(reading, expected_version=expected_version)


def _checked(point: SpacePoint) -> SpacePoint:
    feature = load().bone_features.get(point.id)
    if feature is None or not feature.movable:
        raise LandmarkError(
            f"cannot move {point.id}",
            found="no landmark that a reader may place",
            needed="one of the movable landmarks of the catalog",
            next_step="`hipwright catalog` lists the features of the bones.",
            field=point.id,
        )
    if feature.midline != (point.side is None):
        raise LandmarkError(
            f"cannot move {feature.name.lower()}",
            found="no side" if point.side is None else f"the {point.side} side",
            needed="none: it lies in the midline" if feature.midline else "left or right",
            next_step="Correct its side.",
            field=point.id,
        )
    return replace(point, moved=True)
