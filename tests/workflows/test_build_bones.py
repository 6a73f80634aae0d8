"""Bones of a scan: made in stages, kept once, gone on with after a stop, edits never lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hipwright.adapters.bone_files.files import WorkspaceBoneFiles
from hipwright.domain.anatomy import Bone, Severity
from hipwright.domain.errors import NotFoundError, SegmentationError, StaleWriteError, VolumeError
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.keeping import Image, ImageKind, Laterality
from hipwright.domain.study import View
from hipwright.domain.volume import LabelEdits, Seed
from hipwright.workflows.bone_series import series_for_bones, series_of_scan
from hipwright.workflows.build_bones import build_bones
from hipwright.workflows.edit_labels import edits_now, save_edits
from hipwright.workflows.ports import SeriesPlace
from tests.contract.fakes import MemoryKeeper
from tests.contract.kept_things import Clinic, a_clinic, a_film, a_study
from tests.stick_bones import (
    SHAPE,
    MemoryCheckpoints,
    StickMaker,
    StickReader,
    StillClock,
    a_workshop,
    stick_volume,
)


def silent(what: str, done: int, total: int) -> None:
    """Watch nothing."""


@pytest.fixture
def keeper() -> MemoryKeeper:
    return MemoryKeeper()


@pytest.fixture
def clinic(keeper: MemoryKeeper) -> Clinic:
    return a_clinic(keeper)


@pytest.fixture
def scan(keeper: MemoryKeeper, clinic: Clinic) -> Image:
    return a_series(keeper, clinic)


def a_series(keeper: MemoryKeeper, clinic: Clinic, **changes: object) -> Image:
    image = a_film(
        keeper,
        clinic.study,
        **{"kind": ImageKind.SERIES, "modality": "CT", "view": View.CT, **changes},
    )
    keeper.add_image(image)
    return image


def edited(keeper: MemoryKeeper, scan: Image, shape: tuple[int, int, int] = SHAPE) -> LabelEdits:
    edits = LabelEdits(
        voxels=np.array([0, 5]),
        codes=np.array([2, 0], np.uint8),
        shape=shape,
        seeds=(Seed(at_mm=(1.0, 2.0, 3.0), code=3),),
    )
    files = WorkspaceBoneFiles()
    now = edits_now(keeper, files, scan.id, shape)
    save_edits(
        keeper,
        files,
        scan.id,
        edits,
        by="human:obs-1",
        expected_version=now.version,
        clock=StillClock(),
    )
    return edits


def test_a_build_keeps_bones_labels_landmarks_and_remarks(
    keeper: MemoryKeeper, scan: Image
) -> None:
    build = build_bones(keeper, [scan], a_workshop(), progress=silent)
    assert keeper.bone_build(build.id) == build
    assert (build.number, build.images) == (1, (scan.id,))
    assert [kept.bone for kept in build.bones] == [Bone.FEMUR_LEFT, Bone.HIP_BONE_LEFT]
    files = WorkspaceBoneFiles()
    frame = Frame(FrameKind.PATIENT_LPS, build.id)
    assert files.surface(keeper.get_file(build.bones[0].surface_file), frame).is_closed
    labels = files.labels(keeper.get_file(build.labels_file))
    assert (labels.codes == Bone.FEMUR_LEFT.code).any()
    assert build.landmarks.points[0].id == "pubic_tubercle"
    assert {r.code for r in build.remarks} == {"scan.note", "stick.scan", "stick.bone"}
    assert build.remarks_on(Bone.HIP_BONE_LEFT)[0].severity is Severity.REFUSAL
    assert build.edits_file == ""


def test_progress_rises_from_nothing_to_the_whole(keeper: MemoryKeeper, scan: Image) -> None:
    told: list[tuple[int, int]] = []
    build_bones(
        keeper, [scan], a_workshop(), progress=lambda _what, done, of: told.append((done, of))
    )
    shares = [done / of for done, of in told]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)


@pytest.mark.parametrize(("stage", "done_again"), [("models", ["models"]), ("landmarks", [])])
def test_an_interrupted_build_goes_on_from_its_last_finished_stage(
    keeper: MemoryKeeper, scan: Image, stage: str, done_again: list[str]
) -> None:
    checkpoints = MemoryCheckpoints()
    stopped = StickMaker(fails_in=stage, error=KeyboardInterrupt())  # pyright: ignore[reportArgumentType] (what Ctrl-C raises)
    with pytest.raises(KeyboardInterrupt):
        build_bones(keeper, [scan], a_workshop(None, stopped, checkpoints), progress=silent)
    assert list(keeper.bone_builds_of(scan.person)) == []
    maker, reader = StickMaker(), StickReader()
    build = build_bones(keeper, [scan], a_workshop(reader, maker, checkpoints), progress=silent)
    assert maker.calls == [*done_again, "judged", "landmarks"]
    assert reader.reads == len(done_again)
    assert build.number == 1
    assert checkpoints.kept == {}


def test_other_edits_begin_from_the_scan_again(keeper: MemoryKeeper, scan: Image) -> None:
    checkpoints = MemoryCheckpoints()
    stopped = StickMaker(fails_in="models")
    with pytest.raises(RuntimeError):
        build_bones(keeper, [scan], a_workshop(None, stopped, checkpoints), progress=silent)
    edited(keeper, scan)
    maker = StickMaker()
    build_bones(keeper, [scan], a_workshop(None, maker, checkpoints), progress=silent)
    assert maker.calls[0] == "segment"


def test_edits_go_into_the_build_and_outlive_a_run_that_fails(
    keeper: MemoryKeeper, scan: Image
) -> None:
    edits = edited(keeper, scan)
    kept = keeper.label_edits_of(scan.id)
    failing = StickMaker(fails_in="models", error=SegmentationError("cannot"))
    with pytest.raises(SegmentationError):
        build_bones(keeper, [scan], a_workshop(None, failing), progress=silent)
    assert keeper.label_edits_of(scan.id) == kept
    maker = StickMaker()
    build = build_bones(keeper, [scan], a_workshop(None, maker), progress=silent)
    assert kept is not None
    assert build.edits_file == kept.edits_file
    np.testing.assert_array_equal(maker.edits[0].voxels, edits.voxels)
    assert maker.edits[0].seeds == edits.seeds
    labels = WorkspaceBoneFiles().labels(keeper.get_file(build.labels_file))
    assert labels.codes.ravel()[0] == 2
    bare = build_bones(keeper, [scan], a_workshop(None, maker), progress=silent, with_edits=False)
    assert (bare.number, bare.edits_file) == (2, "")
    assert maker.edits[1].is_empty


def test_edits_of_another_volume_are_refused_not_misplaced(
    keeper: MemoryKeeper, scan: Image
) -> None:
    edited(keeper, scan, (6, 5, 5))
    with pytest.raises(VolumeError, match="hand edits"):
        build_bones(keeper, [scan], a_workshop(), progress=silent)


def test_edits_are_saved_on_top_of_what_was_seen(keeper: MemoryKeeper, scan: Image) -> None:
    edited(keeper, scan)
    files = WorkspaceBoneFiles()
    now = edits_now(keeper, files, scan.id, SHAPE)
    assert now.version == 1
    with pytest.raises(StaleWriteError):
        save_edits(
            keeper,
            files,
            scan.id,
            LabelEdits.none(SHAPE),
            by="human:obs-2",
            expected_version=0,
            clock=StillClock(),
        )
    assert edits_now(keeper, files, scan.id, SHAPE).edits.seeds == now.edits.seeds


def test_a_block_at_the_knees_is_made_too_and_the_labels_kept_are_those_of_the_hips(
    keeper: MemoryKeeper, scan: Image
) -> None:
    knees, hips = stick_volume((4, 5, 4), low_mm=-400.0), stick_volume()
    reader, maker = StickReader(blocks={scan.id: (knees, hips)}), StickMaker()
    edited(keeper, scan)
    build = build_bones(keeper, [scan], a_workshop(reader, maker), progress=silent)
    assert {kept.part for kept in build.bones} == {"", "knee"}
    parts = ["segment_part", "of a part", "segment"]
    assert maker.calls == ["segment", *parts, "models", "models", "judged", "landmarks"]
    assert [e.is_empty for e in maker.edits] == [False, True]
    said = [remark.text for remark in build.remarks if remark.code == "stick.scan"]
    assert said == ["A stick scan.", "At the knee: A stick scan."]
    labels = WorkspaceBoneFiles().labels(keeper.get_file(build.labels_file))
    assert labels.grid.shape == SHAPE


def test_a_block_that_cannot_be_used_is_left_out_and_told(
    keeper: MemoryKeeper, scan: Image
) -> None:
    knees, hips = stick_volume((4, 5, 4), low_mm=-400.0), stick_volume()
    reader = StickReader(blocks={scan.id: (knees, hips)})
    maker = StickMaker(fails_in="segment_part", error=SegmentationError("cannot find bones"))
    build = build_bones(keeper, [scan], a_workshop(reader, maker), progress=silent)
    assert {kept.part for kept in build.bones} == {""}
    (told,) = [remark for remark in build.remarks if remark.code == "block_left_out"]
    assert told.severity is Severity.WARNING
    assert "cannot find bones" in told.text


def test_series_of_two_frames_are_not_mixed(
    keeper: MemoryKeeper, clinic: Clinic, scan: Image
) -> None:
    other = a_series(keeper, clinic)
    reader = StickReader(blocks={other.id: (stick_volume(frame="2.25.2"),)})
    with pytest.raises(VolumeError, match="frames of reference"):
        build_bones(keeper, [scan, other], a_workshop(reader), progress=silent)


def test_a_scan_without_bones_is_told(keeper: MemoryKeeper, scan: Image) -> None:
    with pytest.raises(SegmentationError, match="no bone in the series"):
        build_bones(keeper, [scan], a_workshop(None, StickMaker(bones=())), progress=silent)


def a_place(low_mm: float, high_mm: float, **changes: object) -> SeriesPlace:
    place = SeriesPlace(
        frame="2.25.1",
        low_mm=low_mm,
        high_mm=high_mm,
        slices=int(high_mm - low_mm),
        thickness_mm=1.0,
        kernel="BONE",
    )
    return replace(place, **changes)


def test_the_hips_series_is_the_highest_of_the_newest_scan_with_the_thinnest_slices(
    keeper: MemoryKeeper, clinic: Clinic, scan: Image
) -> None:
    thick, knee, ankle, elsewhere = (a_series(keeper, clinic) for _ in range(4))
    flat = a_series(keeper, clinic)
    a_series(keeper, clinic, modality="MR")
    reader = StickReader(
        places={
            scan.id: a_place(0, 250),
            thick.id: a_place(0, 250, thickness_mm=3.0),
            knee.id: a_place(-500, -400),
            ankle.id: a_place(-900, -850),
            elsewhere.id: a_place(-520, -410, frame="2.25.9"),
            flat.id: a_place(240, 260),
        }
    )
    assert series_for_bones(keeper, reader, clinic.case) == (scan, knee, ankle)
    assert series_for_bones(keeper, reader, clinic.case, knee.id) == (knee, ankle)
    assert series_of_scan(keeper, reader, thick.id) == (thick, knee, ankle)
    assert series_of_scan(keeper, reader, clinic.film.id) == (clinic.film,)


def test_a_case_without_a_scan_of_its_hip_is_told(keeper: MemoryKeeper, clinic: Clinic) -> None:
    other_side = a_series(keeper, clinic, laterality=Laterality.RIGHT)
    reader = StickReader(places={other_side.id: a_place(0, 250)})
    with pytest.raises(NotFoundError, match="no CT series that shows the left hip"):
        series_for_bones(keeper, reader, clinic.case)


def test_a_series_of_somebody_else_is_refused(keeper: MemoryKeeper, clinic: Clinic) -> None:
    stranger = a_clinic(keeper)
    study = a_study(keeper, stranger.person)
    keeper.add_study(study)
    with pytest.raises(NotFoundError, match="another person"):
        series_for_bones(keeper, StickReader(), clinic.case, stranger.film.id)
