"""Analytic hips as bone models of a patient, surveyed and measured like scanned ones."""

from __future__ import annotations

from functools import cache

import numpy as np

from hipwright.domain.anatomy import (
    Bone,
    BoneLandmarks,
    BoneModel,
    BoneQuality,
    SpacePoint,
    Surface,
)
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.side import Side
from hipwright.engines.anatomy.survey import (
    SurveyedHip,
    find_landmarks,
    surfaces_of,
    survey_hips,
)
from hipwright.engines.measurement.space_shelf import SPACE_CONSTRUCTIONS
from tests.analytic_hips import hip_of

FRAME = Frame(FrameKind.PATIENT_LPS, "phantom")
HALF_APART = 88.0

PELVIC = (
    "anterior_superior_iliac_spine",
    "anterior_inferior_iliac_spine",
    "pubic_tubercle",
    "posterior_superior_iliac_spine",
    "ischial_tuberosity",
)
"""Placed where they were built; the femur's landmarks are found by the program."""


def center_of(side: Side) -> np.ndarray:
    return np.array([-HALF_APART if side is Side.RIGHT else HALF_APART, 0.0, 0.0])


@cache
def models_of(kind: str) -> tuple[BoneModel, ...]:
    """Both hips of one kind, the left one the mirror of the right one."""
    found: list[BoneModel] = []
    for side in Side:
        for name, surface in hip_of(kind).in_patient_lps(side, center_of(side)).items():
            bone = Bone.femur(side) if name == "femur" else Bone.hip_bone(side)
            found.append(
                BoneModel(
                    bone=bone,
                    surface=Surface(vertices=surface.vertices, faces=surface.faces, frame=FRAME),
                    quality=BoneQuality(edge_sd_mm=0.0, edge_bias_sd_mm=0.0),
                )
            )
    return tuple(found)


@cache
def found_landmarks(kind: str) -> BoneLandmarks:
    return find_landmarks(models_of(kind))[0]


@cache
def landmarks_of(kind: str) -> BoneLandmarks:
    placed = [
        SpacePoint(id=name, side=side, at_mm=tuple(at[name]), sd_mm=0.0)
        for side in Side
        for at in [hip_of(kind).landmarks_in_patient_lps(side, center_of(side))]
        for name in PELVIC
    ]
    return found_landmarks(kind).updated(BoneLandmarks(points=tuple(placed)))


@cache
def surveyed(kind: str) -> dict[Side, SurveyedHip]:
    hips = survey_hips(surfaces_of(models_of(kind)), landmarks_of(kind))
    return {hip.border.side: hip for hip in hips}


def measured(kind: str, side: Side, name: str) -> np.ndarray:
    """One construction in space, by its catalog id: a number, or one for each hour."""
    return SPACE_CONSTRUCTIONS[name](surveyed(kind)[side].nominal)
