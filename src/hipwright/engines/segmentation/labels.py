"""From a CT volume to labels: which bone each voxel belongs to."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import SegmentationError
from hipwright.domain.volume import LabelEdits, LabelVolume, Modality, Volume
from hipwright.engines.imaging.block_means import block_shape, coarsened, mark_above
from hipwright.engines.imaging.tissue_levels import (
    GrayLevels,
    body_mask,
    gray_levels,
    noise_of,
)
from hipwright.engines.imaging.upright_volume import UprightVolume, upright
from hipwright.engines.segmentation.bone_graph import VALLEY_SHARE
from hipwright.engines.segmentation.edge_sharpness import blur_and_overshoot
from hipwright.engines.segmentation.find_hips import FoundHip, NoHipError, find_hips, widened
from hipwright.engines.segmentation.flooding import flood, spread_nodes
from hipwright.engines.segmentation.head_search import head_candidates
from hipwright.engines.segmentation.head_to_shaft import HeadToShaft, look_at_neck
from hipwright.engines.segmentation.joint_sides import apply_gap, no_word, part_flat_joints
from hipwright.engines.segmentation.knee_labels import knee_rough_labels
from hipwright.engines.segmentation.look_over import cut_bones, look_over
from hipwright.engines.segmentation.meeting_bones import hand_over, settle_skins
from hipwright.engines.segmentation.reader_edits import UprightEdits, upright_edits
from hipwright.engines.segmentation.rough_labels import RoughLabels, rough_labels, valley_reach
from hipwright.engines.segmentation.scan_remarks import sharpness_remarks
from hipwright.engines.segmentation.segmentation import (
    GapSurface,
    Head,
    Segmentation,
    TissueLevels,
)
from hipwright.engines.segmentation.solid_bones import fill_bones, keep_largest

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Progress = Callable[[str, int, int], None]

COARSE_MM = 1.5
SCOUT_MM = 4.0
SMOOTH_FROM_HU = 35.0
"""Noise from which single voxels are smoothed before the threshold (judgment)."""

WIDER_DEG = (62.0, 74.0)
"""Neck windows that are tried where head and shaft do not hang together."""

STEPS = 9
KNEE_STEPS = 4

_Told = tuple[Codes, tuple[FoundHip, ...], tuple[HeadToShaft, ...]]
"""Labels, hips with the windows that were used, and what was found about their necks."""


def _silent(_step: str, _done: int, _all: int) -> None:
    return None


def segment(
    volume: Volume, *, edits: LabelEdits | None = None, progress: Progress | None = None
) -> Segmentation:
    """Tell the bones of a hip CT apart.

    Parameters
    ----------
    volume
        CT in HU, both hips, one hip or a slab of them, on any grid.
    edits
        What a reader painted, seeded and cut; it outranks what is found.
    progress
        Called with what is done next, its number and the number of all steps. What it raises
        ends the work.

    Raises
    ------
    SegmentationError
        No CT, no Hounsfield units, no hip in it, or edits of another volume.
    """
    tell = progress or _silent
    refuse_others(volume, edits)
    tell("setting the volume upright", 0, STEPS)
    field = upright(volume.values, volume.grid)
    by_hand = None if edits is None or edits.is_empty else upright_edits(edits, field)
    step_mm = field.step_xyz_mm
    tell("reading gray levels", 1, STEPS)
    block = block_shape(field.spacing_mm, COARSE_MM)
    coarse = coarsened(field.values, block)
    levels = levels_of(field, coarse, block)
    tell("looking for the hips", 2, STEPS)
    coarse_step = (field.spacing_mm * block)[::-1].copy()
    found = head_candidates(
        coarse, coarse_step, soft_hu=levels.soft_hu, cortex_hu=levels.cortex_hu
    )
    shift = (np.array(block[::-1]) - 1) / 2 * step_mm
    tell("following the joint spaces", 3, STEPS)
    hips = find_hips(field.values, step_mm, [(c + shift, r) for c, r in found], levels)
    tell("telling bone from soft tissue", 4, STEPS)
    mask = bone_mask(field, levels)
    if by_hand is not None:
        by_hand.restrain(mask)
    codes, hips, ways = _solid_labels(field, mask, hips, levels, by_hand, tell)
    del mask
    tell("checking the labels", 8, STEPS)
    told = told_levels(field, levels, volume)
    remarks = look_over(field, coarse, coarse_step, codes, hips, ways, told, volume)
    low, high = cut_bones(codes)
    result = Segmentation(
        labels=LabelVolume(codes=field.brought_home(codes), grid=volume.grid),
        levels=told,
        heads=tuple(_head(field, hip) for hip in hips),
        gaps=tuple(_gap(field, hip) for hip in hips),
        remarks=remarks,
        cut_low=low,
        cut_high=high,
    )
    tell("done", STEPS, STEPS)
    return result


def _solid_labels(
    field: UprightVolume,
    mask: Codes,
    hips: tuple[FoundHip, ...],
    levels: GrayLevels,
    by_hand: UprightEdits | None,
    tell: Progress,
) -> _Told:
    """Label and fill; where a neck is cut, once more with a wider window about it."""
    best: _Told = (np.empty(0, np.uint8), hips, ())
    for window in (None, *WIDER_DEG):
        if window is not None:
            hips = tuple(
                hip if way.sound else widened(hip, field.values, field.step_xyz_mm, levels, window)
                for hip, way in zip(hips, best[2], strict=True)
            )
        tell("telling the bones apart", 5, STEPS)
        rough = rough_labels(
            field.values,
            mask,
            field.spacing_mm,
            hips,
            levels,
            certain=None if by_hand is None else by_hand.certain,
            cuts=() if by_hand is None else by_hand.cuts,
        )
        tell("parting the joints", 6, STEPS)
        codes, barred = fine_labels(field, mask, rough, hips, levels, by_hand)
        tell("filling the bones", 7, STEPS)
        bones = [Bone.of_code(int(c)) for c in np.unique(codes) if 0 < c < Bone.OTHER.code]
        hand_over(codes, barred, field.spacing_mm)
        keep_largest(codes, bones, field.spacing_mm)
        fill_bones(codes, barred, bones, field.spacing_mm)
        settle_skins(codes, field.spacing_mm)
        keep_largest(codes, bones, field.spacing_mm)
        if by_hand is not None:
            by_hand.close_cuts(codes)
            by_hand.say(codes)
        ways = tuple(
            look_at_neck(
                codes,
                hip.femur.code,
                field.spacing_mm,
                hip.sphere.center,
                hip.sphere.radius_mm,
                hip.neck,
            )
            for hip in hips
        )
        if window is None or _faults(ways) < _faults(best[2]):
            best = (codes, hips, ways)
        if all(way.sound for way in ways):
            break
    return best


def _faults(ways: tuple[HeadToShaft, ...]) -> int:
    return sum(10 * (not way.one_solid) + way.tunnels for way in ways)


def bone_mask(field: UprightVolume, levels: GrayLevels) -> Codes:
    """1 where a voxel is dense enough for bone."""
    mask = np.empty(field.values.shape, np.uint8)
    share = 1.0 if levels.noise_hu < SMOOTH_FROM_HU else 0.4
    mark_above(field.values, levels.threshold_hu, share, mask)
    return mask


def slice_blur_mm(field: UprightVolume, volume: Volume) -> float:
    """Standard deviation of the blur along the slices: a box as wide as a slice is thick."""
    return max(float(field.spacing_mm[0]), volume.slice_thickness_mm or 0.0) / float(np.sqrt(12.0))


def segment_knee(
    volume: Volume, *, edits: LabelEdits | None = None, progress: Progress | None = None
) -> Segmentation:
    """Tell the bones of a block at the knees or ankles apart: femora and tibiae by side.

    Parameters
    ----------
    volume
        CT in HU of a block apart from the hips; it may show one leg or both.
    edits, progress
        As for :func:`segment`.

    Raises
    ------
    SegmentationError
        No CT, no Hounsfield units, no shaft of a long bone, or edits of another volume.
    """
    tell = progress or _silent
    refuse_others(volume, edits)
    tell("setting the volume upright", 0, KNEE_STEPS)
    field = upright(volume.values, volume.grid)
    by_hand = None if edits is None or edits.is_empty else upright_edits(edits, field)
    tell("reading gray levels", 1, KNEE_STEPS)
    block = block_shape(field.spacing_mm, COARSE_MM)
    levels = levels_of(field, coarsened(field.values, block), block)
    tell("telling the bones apart", 2, KNEE_STEPS)
    mask = bone_mask(field, levels)
    if by_hand is not None:
        by_hand.restrain(mask)
    rough, part = knee_rough_labels(field.values, mask, field.spacing_mm, levels)
    tell("filling the bones", 3, KNEE_STEPS)
    codes, barred = fine_labels(field, mask, rough, (), levels, by_hand)
    bones = [Bone.of_code(int(c)) for c in np.unique(codes) if 0 < c < Bone.OTHER.code]
    keep_largest(codes, bones, field.spacing_mm)
    fill_bones(codes, barred, bones, field.spacing_mm)
    if by_hand is not None:
        by_hand.close_cuts(codes)
        by_hand.say(codes)
    told = told_levels(field, levels, volume)
    low, high = cut_bones(codes)
    result = Segmentation(
        labels=LabelVolume(codes=field.brought_home(codes), grid=volume.grid),
        levels=told,
        remarks=sharpness_remarks(told, float(field.spacing_mm[0]), volume.slice_thickness_mm),
        part=part,
        cut_low=low,
        cut_high=high,
    )
    tell("done", KNEE_STEPS, KNEE_STEPS)
    return result


def segment_block(
    volume: Volume, *, edits: LabelEdits | None = None, progress: Progress | None = None
) -> Segmentation:
    """Tell the bones of any block of a scan apart: of the hips, else of knees or ankles.

    ``part`` of the result says which it was: a caller who needs hips must ask.

    Raises
    ------
    SegmentationError
        As for :func:`segment`, when the block is no knee or ankle either.
    """
    try:
        return segment(volume, edits=edits, progress=progress)
    except NoHipError as no_hip:
        try:
            return segment_knee(volume, edits=edits, progress=progress)
        except SegmentationError:
            raise no_hip from None


def told_levels(field: UprightVolume, levels: GrayLevels, volume: Volume) -> TissueLevels:
    """Gray levels of a scan with its blur."""
    blur, overshoot = blur_and_overshoot(
        field.values,
        float(field.spacing_mm[2]),
        levels.soft_hu,
        levels.cortex_hu,
        levels.noise_hu,
    )
    return TissueLevels(
        soft_hu=levels.soft_hu,
        cortex_hu=levels.cortex_hu,
        noise_hu=levels.noise_hu,
        threshold_hu=levels.threshold_hu,
        blur_mm=blur,
        slice_blur_mm=slice_blur_mm(field, volume),
        overshoot=overshoot,
    )


def refuse_others(volume: Volume, edits: LabelEdits | None) -> None:
    """Refuse what is no CT, and edits of another volume."""
    if volume.modality is not Modality.CT:
        raise SegmentationError(
            "cannot find bones in the volume",
            found=f"a volume made by {volume.modality.value}",
            needed="CT, whose gray values are Hounsfield units",
            next_step="Choose a CT series; MR series are read on the slices.",
            field="volume",
        )
    if edits is not None and edits.shape != volume.grid.shape:
        raise SegmentationError(
            "cannot use the edits",
            found=f"edits of a volume of {edits.shape} voxels",
            needed=f"edits of this volume of {volume.grid.shape} voxels",
            next_step="Open the edits with the series they were made on.",
            field="edits",
        )


def levels_of(
    field: UprightVolume, coarse: NDArray[np.int16], block: tuple[int, int, int]
) -> GrayLevels:
    """Gray levels inside the body, the table left out."""
    spacing = field.spacing_mm * block
    scout_block = block_shape(spacing, SCOUT_MM)
    scout = coarsened(coarse, scout_block)
    body = body_mask(scout, spacing * scout_block)
    for axis, n in enumerate(scout_block):
        body = body.repeat(n, axis=axis)
    body = body[tuple(slice(0, n) for n in coarse.shape)]
    return gray_levels(coarse, body, noise_of(field.values))


def fine_labels(
    field: UprightVolume,
    mask: Codes,
    rough: RoughLabels,
    hips: tuple[FoundHip, ...],
    levels: GrayLevels,
    by_hand: UprightEdits | None,
) -> tuple[Codes, Codes]:
    """Codes of the fine voxels, and by bits which codes each must not take."""
    codes = no_word(mask.shape)
    barred = np.zeros(mask.shape, np.uint8)
    step_mm = field.step_xyz_mm
    for hip in hips:
        apply_gap(
            hip.gap,
            hip.sphere.radius_mm,
            hip.femur.code,
            mask=mask,
            step_mm=step_mm,
            codes=codes,
            barred=barred,
        )
    part_flat_joints(field.values, mask, step_mm, rough, hips, levels, codes, barred)
    if by_hand is not None:
        by_hand.say(codes)
    spread_nodes(mask, rough.block, rough.sure, codes)
    step_hu = levels.cortex_hu - levels.soft_hu
    flood(field.values, valley_reach(field.spacing_mm), VALLEY_SHARE * step_hu, barred, codes)
    return codes, barred


def _head(field: UprightVolume, hip: FoundHip) -> Head:
    center = field.to_patient(hip.sphere.center)
    neck = hip.neck @ field.axes
    return Head(
        femur=hip.femur,
        center_mm=(float(center[0]), float(center[1]), float(center[2])),
        radius_mm=hip.sphere.radius_mm,
        rms_mm=hip.sphere.rms_mm,
        neck=(float(neck[0]), float(neck[1]), float(neck[2])),
        inlier_share=hip.sphere.inlier_share,
    )


def _gap(field: UprightVolume, hip: FoundHip) -> GapSurface:
    return GapSurface(
        femur=hip.femur,
        center_mm=field.to_patient(hip.gap.center),
        axes=hip.gap.axes @ field.axes,
        radius_mm=hip.gap.radius_mm,
        acts=hip.gap.acts,
    )
