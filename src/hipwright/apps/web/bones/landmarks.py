"""Landmarks on the bones: what the screen shows of them, and where a reader's ray meets bone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import Catalog
from hipwright.catalog.bone_features import BoneFeature
from hipwright.domain.anatomy import Bone, BoneLandmarks, SpacePoint
from hipwright.domain.errors import LandmarkError
from hipwright.domain.keeping_bones import BoneBuild, KeptBone
from hipwright.domain.side import Side
from hipwright.engines.geometry.mesh_distance import closest_in_tree
from hipwright.engines.geometry.mesh_rays import tree_hits_mm
from hipwright.engines.geometry.mesh_tree import MeshTree

Json = dict[str, Any]
Floats = NDArray[np.float64]
Place = tuple[float, float, float]

FARTHEST_MM = 1.0
"""A place that is saved may lie this far from the bone: it was found on it a moment ago."""

_BONES: dict[str, Callable[[Side], Bone]] = {
    "hip_bone": Bone.hip_bone,
    "femur": Bone.femur,
    "tibia": Bone.tibia,
}


def landmark_facts(landmarks: BoneLandmarks, catalog: Catalog) -> list[Json]:
    """Every landmark the catalog knows, those of the hip bones first."""
    known = [(catalog.bone_features.get(point.id), point) for point in landmarks]
    return [
        {
            "key": key_of(point.id, point.side),
            "id": point.id,
            "side": None if point.side is None else point.side.value,
            "name": _name(feature, point.side),
            "definition": feature.definition,
            "at": list(point.at_mm),
            "moved": point.moved,
            "movable": feature.movable,
        }
        for feature, point in known
        if feature is not None
    ]


def key_of(landmark: str, side: Side | None) -> str:
    """``teardrop@left``; a midline landmark has no side."""
    return landmark if side is None else f"{landmark}@{side.value}"


def _name(feature: BoneFeature, side: Side | None) -> str:
    return feature.name if side is None else f"{feature.name}, {side.value}"


def movable_feature(catalog: Catalog, landmark: str) -> BoneFeature:
    """The feature of that id.

    Raises
    ------
    LandmarkError
        There is none, or nobody may move it.
    """
    feature = catalog.bone_features.get(landmark)
    if feature is None or not feature.movable:
        raise LandmarkError(
            f"cannot move {landmark.replace('_', ' ')}",
            found="a feature that is computed, or none",
            needed="a landmark that a reader may place",
            next_step="Move one of the landmarks with a handle.",
            field="landmark",
        )
    return feature


def pieces_for(build: BoneBuild, feature: BoneFeature, side: Side | None) -> list[KeptBone]:
    """The pieces of a build on which a landmark may lie."""
    make = _BONES.get(feature.bone)
    kinds = list(_BONES.values()) if make is None else [make]
    sides = list(Side) if side is None else [side]
    wanted = {make_bone(one) for make_bone in kinds for one in sides}
    return [bone for bone in build.bones if bone.bone in wanted]


def place_on_ray(trees: Sequence[MeshTree], origin: Place, direction: Place) -> Place | None:
    """The first place of bone on a ray, ``None`` where it meets none."""
    start, way = np.array(origin), np.array(direction)
    if not np.linalg.norm(way) > 0:
        return None
    reached = [float(tree_hits_mm(tree, start[None], way[None])[0]) for tree in trees]
    met = [distance for distance in reached if np.isfinite(distance)]
    if not met:
        return None
    x, y, z = start + min(met) * way / np.linalg.norm(way)
    return (float(x), float(y), float(z))


def place_on_bone(trees: Sequence[MeshTree], landmark: str, at: Place) -> Place:
    """The place of bone nearest to one that is to be saved.

    Raises
    ------
    LandmarkError
        It lies off the bone.
    """
    found = [closest_in_tree(tree, np.array([at])) for tree in trees]
    best = min(found, key=lambda one: float(one.distances_mm[0]), default=None)
    away = np.inf if best is None else float(best.distances_mm[0])
    if best is None or away > FARTHEST_MM:
        raise LandmarkError(
            f"cannot place {landmark.replace('_', ' ')}",
            found=f"a place {away:.1f} mm off the bone",
            needed=f"a place on the bone, within {FARTHEST_MM} mm",
            next_step="Place it again.",
            field="landmark",
        )
    x, y, z = best.points[0]
    return (float(x), float(y), float(z))


def moved_point(feature: BoneFeature, side: Side | None, at: Place) -> SpacePoint:
    """A landmark as a reader placed it; its doubt is how far readers differ."""
    return SpacePoint(id=feature.id, side=side, at_mm=at, sd_mm=feature.sd_mm, moved=True)
