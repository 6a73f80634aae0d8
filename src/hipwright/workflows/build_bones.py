"""Make bone models of a CT: read it, part the bones, close surfaces, find landmarks, keep."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from hipwright.domain.anatomy import BoneLandmarks, BoneModel, Remark, Severity
from hipwright.domain.errors import SegmentationError, VolumeError
from hipwright.domain.keeping import Image
from hipwright.domain.keeping_bones import BoneBuild, BuildOrigin, KeptBone
from hipwright.domain.volume import LabelEdits, Volume
from hipwright.engines.segmentation.segmentation import Segmentation
from hipwright.workflows.bone_ports import BoneFiles, BoneMaker, Checkpoints, Share
from hipwright.workflows.ports import Clock, Progress, VolumeReader, WorkspaceKeeper

READ, TOLD_APART, CLOSED, FOUND = 8, 60, 95, 99
"""How far each stage brings the work, in percent of its time (measured)."""

WHOLE = 100
CLOSING = "closing the surfaces"
PROGRAM = "program:bones"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneWorkshop:
    """What bones are made with."""

    reader: VolumeReader
    files: BoneFiles
    maker: BoneMaker
    checkpoints: Checkpoints
    clock: Clock
    software: str


@dataclass(slots=True, kw_only=True)
class _Order:
    """One run: what goes in, and the names under which its finished stages are put by."""

    images: tuple[Image, ...]
    edits_files: tuple[str, ...]
    key: str
    used: list[str] = field(default_factory=list[str])
    volumes: list[Volume] = field(default_factory=list[Volume])

    def stage(self, name: str) -> str:
        self.used.append(f"{self.key}-{name}")
        return self.used[-1]


def build_bones(
    keeper: WorkspaceKeeper,
    images: Sequence[Image],
    workshop: BoneWorkshop,
    *,
    progress: Progress,
    by: str = PROGRAM,
    with_edits: bool = True,
) -> BoneBuild:
    """Make and keep the bone models of one scan.

    A run that was interrupted goes on from its last finished stage. A run that fails keeps
    nothing and takes nothing away: edits and earlier builds stay as they are.

    Parameters
    ----------
    images
        The series, the hips' first; knees and ankles of the same scan after it.
    with_edits
        Whether the newest hand edits of the labels go in.

    Raises
    ------
    VolumeError
        A series makes no volume, two have no common frame, or edits are of another volume.
    SegmentationError
        No bone was found.
    """
    order = _ordered(keeper, images, workshop, with_edits=with_edits)
    segmented, left_out = _segmented(keeper, order, workshop, progress)
    models, remarks = _closed(keeper, order, workshop, segmented, progress)
    progress("finding landmarks", CLOSED, WHOLE)
    judged = workshop.maker.judged(models, [one for _, _, one in segmented])
    landmarks, more = workshop.maker.landmarks(models)
    progress("keeping the models", FOUND, WHOLE)
    said = [
        _at_part(remark, one.part)
        for _, notes, one in segmented
        for remark in (*_notes(notes), *one.remarks)
    ]
    build = _kept(
        keeper,
        order,
        workshop,
        segmented,
        models,
        landmarks,
        (*said, *left_out, *remarks, *judged, *more),
        by,
    )
    workshop.checkpoints.drop(order.used)
    progress("done", WHOLE, WHOLE)
    return build


_Segmented = tuple[int, tuple[str, ...], Segmentation]
"""The number of a volume, what its reader noted, and its bones told apart."""

_Told = tuple[list[_Segmented], tuple[Remark, ...]]
"""All volumes that could be used, the hips' first, and why others could not."""


def _ordered(
    keeper: WorkspaceKeeper,
    images: Sequence[Image],
    workshop: BoneWorkshop,
    *,
    with_edits: bool,
) -> _Order:
    kept = [keeper.label_edits_of(image.id) if with_edits else None for image in images]
    edits_files = tuple(one.edits_file if one else "" for one in kept)
    told = [workshop.software, *edits_files, *(d for image in images for d in image.files)]
    key = hashlib.sha256("\n".join(told).encode()).hexdigest()[:32]
    return _Order(images=tuple(images), edits_files=edits_files, key=key)


def _segmented(
    keeper: WorkspaceKeeper, order: _Order, workshop: BoneWorkshop, progress: Progress
) -> _Told:
    key = order.stage("labels")
    found = workshop.checkpoints.get(key)
    if found is not None:
        progress("going on with the labels made before", TOLD_APART, WHOLE)
        return found  # pyright: ignore[reportReturnType] (put by below, under this very name)
    volumes = _volumes(keeper, order, workshop, progress)
    edits = _edits_of_each(keeper, order, workshop, volumes)
    segmented: list[_Segmented] = []
    left_out: list[Remark] = []
    share = (TOLD_APART - READ) / len(volumes)
    for number, (volume, own) in enumerate(zip(volumes, edits, strict=True)):
        staged = _staged(progress, READ + number * share, READ + (number + 1) * share)
        try:
            if not segmented:
                one = workshop.maker.segment(volume, own, staged)
            else:
                one = workshop.maker.segment_part(volume, segmented[0][2], own, staged)
        except SegmentationError as error:
            if not segmented:
                raise
            left_out.append(_left_out(error))
            continue
        segmented.append((number, volume.notes, one))
    told = segmented, tuple(left_out)
    workshop.checkpoints.put(key, told)
    return told


def _left_out(error: SegmentationError) -> Remark:
    text = f"A block scanned apart from the hips was left out. {error}"
    return Remark(code="block_left_out", severity=Severity.WARNING, text=text)


def _closed(
    keeper: WorkspaceKeeper,
    order: _Order,
    workshop: BoneWorkshop,
    segmented: Sequence[_Segmented],
    progress: Progress,
) -> tuple[tuple[BoneModel, ...], tuple[Remark, ...]]:
    key = order.stage("surfaces")
    kept = workshop.checkpoints.get(key)
    if kept is not None:
        progress("going on with the surfaces made before", CLOSED, WHOLE)
        return kept  # pyright: ignore[reportReturnType] (put by below, under this very name)
    volumes = _volumes(keeper, order, workshop, progress)
    models: list[BoneModel] = []
    remarks: list[Remark] = []
    share = (CLOSED - TOLD_APART) / len(segmented)
    for done, (number, _, one) in enumerate(segmented):
        volume, low = volumes[number], TOLD_APART + done * share
        found, said = workshop.maker.models(
            volume, one, _share(progress, CLOSING, low, low + share)
        )
        models.extend(found)
        remarks.extend(said)
    if not models:
        raise SegmentationError(
            "cannot make bone models",
            found="no bone in the series",
            needed="a CT that shows a hip",
            next_step="Check the series on the Slices screen, and paint a bone if it is there.",
        )
    made = tuple(models), tuple(remarks)
    workshop.checkpoints.put(key, made)
    return made


def _volumes(
    keeper: WorkspaceKeeper, order: _Order, workshop: BoneWorkshop, progress: Progress
) -> list[Volume]:
    """All blocks: of the hips' series from above downward, then those of the others."""
    if order.volumes:
        return order.volumes
    volumes = order.volumes
    share = READ / len(order.images)
    for number, image in enumerate(order.images):
        staged = _staged(progress, number * share, (number + 1) * share)
        blocks = workshop.reader.read(image, keeper.get_file, staged)
        volumes.extend(reversed(blocks))
    if len({volume.grid.fixed_to for volume in volumes}) > 1:
        raise VolumeError(
            "cannot make bones of several series",
            found="series in different frames of reference",
            needed="series of one scan",
            next_step="Make the bones from the hips' series alone.",
            field="images",
        )
    return volumes


def _edits_of_each(
    keeper: WorkspaceKeeper, order: _Order, workshop: BoneWorkshop, volumes: Sequence[Volume]
) -> list[LabelEdits]:
    """The hand edits of each block: those of its shape, each once."""
    waiting = [workshop.files.edits(keeper.get_file(d)) for d in order.edits_files if d]
    each: list[LabelEdits] = []
    for volume in volumes:
        own = next((e for e in waiting if e.shape == volume.grid.shape), None)
        waiting = [e for e in waiting if e is not own]
        each.append(own or LabelEdits.none(volume.grid.shape))
    if waiting:
        raise VolumeError(
            "cannot use the hand edits",
            found=f"edits of a volume of {waiting[0].shape} voxels",
            needed=f"edits of {' or '.join(str(v.grid.shape) for v in volumes)}",
            next_step="The series has changed since: paint again, or leave the edits out.",
            field="edits",
        )
    return each


def _at_part(remark: Remark, part: str) -> Remark:
    """What was noticed of a block scanned apart says where, or it would seem said of the hips."""
    return replace(remark, text=f"At the {part}: {remark.text}") if part else remark


def _notes(notes: tuple[str, ...]) -> list[Remark]:
    return [Remark(code="scan.note", severity=Severity.NOTE, text=text) for text in notes]


def _kept(
    keeper: WorkspaceKeeper,
    order: _Order,
    workshop: BoneWorkshop,
    segmented: Sequence[_Segmented],
    models: Sequence[BoneModel],
    landmarks: BoneLandmarks,
    remarks: Sequence[Remark],
    by: str,
) -> BoneBuild:
    hip = segmented[0][2]
    return keeper.add_bone_build(
        BoneBuild(
            id=keeper.new_id(),
            person=order.images[0].person,
            number=0,  # given by the keeper
            origin=BuildOrigin.CT,
            images=tuple(image.id for image in order.images),
            bones=tuple(kept_bone(keeper, workshop.files, model) for model in models),
            landmarks=landmarks,
            remarks=tuple(dict.fromkeys(remarks)),
            labels_file=keeper.put_file(workshop.files.labels_bytes(hip.labels)),
            edits_file=next((d for d in order.edits_files if d), ""),
            software=workshop.software,
            by=by,
            made_at=workshop.clock.now(),
        )
    )


def kept_bone(keeper: WorkspaceKeeper, files: BoneFiles, model: BoneModel) -> KeptBone:
    """Keep a model's surface; the row tells of it."""
    return KeptBone(
        bone=model.bone,
        part=model.part,
        surface_file=keeper.put_file(files.surface_bytes(model.surface)),
        triangles=len(model.surface.faces),
        quality=model.quality,
        cut_low=model.cut_low,
        cut_high=model.cut_high,
    )


def _staged(progress: Progress, low: float, high: float) -> Progress:
    """Progress of one stage as a part of the whole."""

    def told(what: str, done: int, total: int) -> None:
        share = done / total if total else 0.0
        progress(what, round(low + (high - low) * share), WHOLE)

    return told


def _share(progress: Progress, what: str, low: float, high: float) -> Share:
    """The share of one stage that is done, as a part of the whole."""

    def told(share: float) -> None:
        progress(what, round(low + (high - low) * share), WHOLE)

    told(0.0)
    return told
