"""The engines that make bones, as the port ``BoneMaker`` asks for them."""

from __future__ import annotations

from collections.abc import Sequence

from hipwright.domain.anatomy import BoneLandmarks, BoneModel, Remark
from hipwright.domain.volume import LabelEdits, Volume
from hipwright.engines.segmentation.segmentation import Segmentation
from hipwright.workflows.bone_ports import Share
from hipwright.workflows.ports import Progress


class EngineBones:
    """Makes bones with the engines of hipwright; they are imported when they are needed."""

    def segment(self, volume: Volume, edits: LabelEdits, progress: Progress) -> Segmentation:
        """Tell the bones of one volume apart."""
        from hipwright.engines.segmentation.labels import segment

        return segment(volume, edits=edits, progress=progress)

    def segment_part(
        self, volume: Volume, hips: Segmentation, edits: LabelEdits, progress: Progress
    ) -> Segmentation:
        """Tell the bones of a block below the hips apart."""
        from hipwright.engines.segmentation.labels import segment_knee

        del hips  # the shafts in the block tell the sides themselves
        return segment_knee(volume, edits=edits, progress=progress)

    def models(
        self, volume: Volume, segmented: Segmentation, tell: Share
    ) -> tuple[tuple[BoneModel, ...], tuple[Remark, ...]]:
        """Close the surfaces of a volume's bones."""
        from hipwright.engines.segmentation.bones import bone_models

        return bone_models(volume, segmented, progress=tell)

    def judged(
        self, models: Sequence[BoneModel], segmented: Sequence[Segmentation]
    ) -> tuple[Remark, ...]:
        """Look the finished bones over."""
        from hipwright.engines.segmentation.checks_bones import check_bones

        return check_bones(models, segmented)

    def landmarks(self, models: Sequence[BoneModel]) -> tuple[BoneLandmarks, tuple[Remark, ...]]:
        """Find the landmarks."""
        from hipwright.engines.anatomy.survey import find_landmarks

        return find_landmarks(models)
