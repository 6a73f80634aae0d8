"""Looking finished bones over: every figure held against its limits, what is beyond is told.

Pure: works on models from scans and on imported meshes alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from hipwright.catalog.bone_checks import BoneCheck, bone_checks
from hipwright.domain.anatomy import Bone, BoneModel, Remark
from hipwright.engines.geometry.meshes import volume_mm3
from hipwright.engines.segmentation.checks_pairs import joint_figures, sides_figures
from hipwright.engines.segmentation.checks_shape import (
    FemoralHead,
    head_figures,
    head_of,
    making_figures,
    side_figures,
    solid_figures,
    surroundings_figures,
)
from hipwright.engines.segmentation.segmentation import Segmentation

Figures = Mapping[str, float]


def kind_of(bone: Bone) -> str:
    """The kind of a bone, without its side: ``hip_bone``, ``femur``, ``tibia``."""
    side = bone.side
    return bone.value if side is None else bone.value.removesuffix(f"_{side.value}")


def remarks_on(
    bone: Bone, figures: Figures, checks: Sequence[BoneCheck] | None = None
) -> tuple[Remark, ...]:
    """What to tell about a bone with these figures; of two limits of one figure the graver."""
    found: dict[str, Remark] = {}
    for check in bone_checks() if checks is None else checks:
        if check.figure not in figures or kind_of(bone) not in check.bones:
            continue
        figure = figures[check.figure]
        limit = check.broken_limit(figure)
        if limit is not None:
            found[check.figure] = Remark(
                code=check.id,
                severity=check.severity,
                text=check.sentence(bone.words, figure),
                bone=bone,
                figure=figure,
                limit=limit,
                unit=check.unit,
            )
    return tuple(found.values())


def check_bones(
    models: Sequence[BoneModel], segmented: Sequence[Segmentation] = ()
) -> tuple[Remark, ...]:
    """Look over all bones of one scan.

    Parameters
    ----------
    models
        Finished bones, from a scan or imported.
    segmented
        The labels they were made from, where there are some.

    Returns
    -------
    tuple of Remark
        Everything beyond a limit, in the order of the bones.
    """
    remarks: list[Remark] = []
    for model, figures in zip(models, bone_figures(models, segmented), strict=True):
        remarks.extend(remarks_on(model.bone, figures))
    return tuple(remarks)


def bone_figures(
    models: Sequence[BoneModel], segmented: Sequence[Segmentation] = ()
) -> tuple[Figures, ...]:
    """The figures of every bone, in the order of the bones."""
    hips = {m.bone: m for m in models if not m.part}
    sound = {m.bone for m in hips.values() if solid_figures(m)["closed"]}
    heads = {bone: head_of(hips[bone]) for bone in sound if kind_of(bone) == "femur"}
    return tuple(_figures(model, hips, sound, heads, segmented) for model in models)


def _figures(
    model: BoneModel,
    hips: Mapping[Bone, BoneModel],
    sound: set[Bone],
    heads: Mapping[Bone, FemoralHead | None],
    segmented: Sequence[Segmentation],
) -> Figures:
    figures = {**solid_figures(model), **making_figures(model), **_label_figures(model, segmented)}
    if not figures["closed"] or model.part:
        return figures
    head = heads.get(model.bone)
    figures |= surroundings_figures(model, head)
    figures |= side_figures(model, head)
    if kind_of(model.bone) == "femur":
        figures |= head_figures(model, head)
    other = _other_side(model.bone)
    if other in sound and not (kind_of(model.bone) == "hip_bone" and _one_sided(hips)):
        figures |= sides_figures(model, hips[other])
    side = model.bone.side
    if side is not None and kind_of(model.bone) == "femur" and Bone.hip_bone(side) in sound:
        figures |= joint_figures(model, hips[Bone.hip_bone(side)], head)
    return figures


def _other_side(bone: Bone) -> Bone | None:
    return next(
        (b for b in Bone if b is not bone and b.side and kind_of(b) == kind_of(bone)), None
    )


def _one_sided(hips: Mapping[Bone, BoneModel]) -> bool:
    """Whether one hip alone was scanned: of the other hip bone there is a stub then."""
    return sum(kind_of(bone) == "femur" for bone in hips) == 1


def _label_figures(model: BoneModel, segmented: Sequence[Segmentation]) -> Figures:
    for one in segmented:
        if one.part == model.part:
            voxels = int(np.count_nonzero(one.labels.codes == model.bone.code))
            volume = volume_mm3(model.surface.vertices, model.surface.faces)
            if volume > 0:
                return {"label_ratio": voxels * one.labels.grid.voxel_mm3 / volume}
    return {}
