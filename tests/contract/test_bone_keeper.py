"""What every keeper does with bones and jobs: the one in memory, on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import KeepingError, NotFoundError, StaleWriteError
from hipwright.domain.keeping_bones import BuildOrigin, JobState, KeptEdits
from hipwright.wiring import open_workspace
from hipwright.workflows.ports import WorkspaceKeeper
from tests.contract.fakes import MemoryKeeper
from tests.contract.kept_bones import a_build, a_job, a_reading, some_edits, some_points
from tests.contract.kept_things import OPENED, a_clinic


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def keeper(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[WorkspaceKeeper]:
    if request.param == "memory":
        yield MemoryKeeper()
        return
    url = request.getfixturevalue("postgresql_url") if request.param == "postgresql" else None
    with open_workspace(tmp_path / "workspace", create=True, database_url=url) as opened:
        yield opened.keeper


def test_store_returns_the_build_it_was_given_with_its_number(keeper: WorkspaceKeeper) -> None:
    clinic = a_clinic(keeper)
    build = a_build(keeper, clinic)
    kept = keeper.add_bone_build(build)
    assert kept == replace(build, number=1)
    assert keeper.bone_build(build.id) == kept
    assert kept.bone(Bone.FEMUR_LEFT, "knee") == build.bones[1]


def test_every_build_is_kept_and_listed_newest_first(keeper: WorkspaceKeeper) -> None:
    clinic = a_clinic(keeper)
    first = keeper.add_bone_build(a_build(keeper, clinic))
    meshes = a_build(
        keeper, clinic, origin=BuildOrigin.MESHES, images=(), labels_file="", edits_file=""
    )
    second = keeper.add_bone_build(meshes)
    assert list(keeper.bone_builds_of(clinic.person.id)) == [second, first]
    assert (second.number, second.images, second.labels_file) == (2, (), "")


def test_a_build_needs_its_files_its_bones_and_one_person(keeper: WorkspaceKeeper) -> None:
    clinic, other = a_clinic(keeper), a_clinic(keeper)
    good = a_build(keeper, clinic)
    for bad in (
        replace(good, labels_file="0" * 64),
        replace(good, bones=(replace(good.bones[0], surface_file="1" * 64),)),
        replace(good, bones=()),
        replace(good, images=(other.film.id,)),
        replace(good, id="build-1"),
    ):
        with pytest.raises(KeepingError):
            keeper.add_bone_build(bad)
    with pytest.raises(NotFoundError):
        keeper.add_bone_build(replace(good, person=keeper.new_id()))
    assert list(keeper.bone_builds_of(clinic.person.id)) == []
    keeper.add_bone_build(good)
    with pytest.raises(KeepingError):
        keeper.add_bone_build(good)


def test_a_build_or_job_that_is_not_there_is_not_found(keeper: WorkspaceKeeper) -> None:
    for look in (keeper.bone_build, keeper.job):
        with pytest.raises(NotFoundError):
            look(keeper.new_id())


def test_moved_landmarks_come_back_to_the_last_bit_one_reading_an_observer(
    keeper: WorkspaceKeeper,
) -> None:
    build = keeper.add_bone_build(a_build(keeper, a_clinic(keeper)))
    reading = a_reading(keeper, build)
    first = keeper.save_bone_reading(reading, expected_version=0)
    assert first == replace(reading, version=1, saved_at=first.saved_at)
    again = replace(first, moved=some_points(5.0), supine_tilt_deg=3.5)
    second = keeper.save_bone_reading(again, expected_version=1)
    other = keeper.save_bone_reading(
        a_reading(keeper, build, observer="human:obs-2"), expected_version=0
    )
    assert (second.id, second.version) == (first.id, 2)
    assert list(keeper.bone_readings_of(build.id)) == [other, second]


def test_saving_landmarks_that_are_kept_already_changes_nothing(keeper: WorkspaceKeeper) -> None:
    build = keeper.add_bone_build(a_build(keeper, a_clinic(keeper)))
    first = keeper.save_bone_reading(a_reading(keeper, build), expected_version=0)
    assert keeper.save_bone_reading(a_reading(keeper, build), expected_version=0) == first


def test_stale_landmarks_and_edits_are_refused_with_both_values(keeper: WorkspaceKeeper) -> None:
    clinic = a_clinic(keeper)
    build = keeper.add_bone_build(a_build(keeper, clinic))
    kept = keeper.save_bone_reading(a_reading(keeper, build), expected_version=0)
    stale = replace(kept, moved=some_points(9.0))
    with pytest.raises(StaleWriteError) as refusal:
        keeper.save_bone_reading(stale, expected_version=0)
    assert (refusal.value.kept, refusal.value.offered) == (kept, stale)
    some_edits(keeper, clinic, b"one", expected_version=0)
    with pytest.raises(StaleWriteError):
        some_edits(keeper, clinic, b"two", expected_version=0)


def test_the_newest_edits_of_a_series_are_found(keeper: WorkspaceKeeper) -> None:
    clinic = a_clinic(keeper)
    assert keeper.label_edits_of(clinic.film.id) is None
    first = some_edits(keeper, clinic, b"one", expected_version=0)
    assert some_edits(keeper, clinic, b"one", expected_version=0) == first
    second = some_edits(keeper, clinic, b"two", expected_version=1)
    assert (first.version, second.version) == (1, 2)
    assert keeper.label_edits_of(clinic.film.id) == second


def test_edits_need_their_file_and_a_known_series(keeper: WorkspaceKeeper) -> None:
    clinic = a_clinic(keeper)
    edits = KeptEdits(
        image=clinic.film.id, edits_file="0" * 64, by="human:obs-1", version=0, saved_at=OPENED
    )
    with pytest.raises(KeepingError):
        keeper.save_label_edits(edits, expected_version=0)
    assert keeper.label_edits_of(clinic.film.id) is None
    with pytest.raises(NotFoundError):
        keeper.save_label_edits(replace(edits, image=keeper.new_id()), expected_version=0)


def test_a_job_tells_how_far_it_is_and_how_it_ended(keeper: WorkspaceKeeper) -> None:
    job = keeper.add_job(a_job(keeper))
    assert keeper.job(job.id) == job
    beaten = keeper.beat(job.id, done=3, total=10, message="labels")
    assert (beaten.state, beaten.done, beaten.total) == (JobState.RUNNING, 3, 10)
    assert beaten.heartbeat_at > job.heartbeat_at
    assert keeper.job(job.id) == beaten
    over = keeper.end_job(job.id, JobState.DONE, result="build-7")
    assert (over.state, over.result, over.done) == (JobState.DONE, "build-7", 3)
    assert over.ended_at is not None
    assert keeper.job(job.id) == over


def test_a_failed_job_carries_its_error(keeper: WorkspaceKeeper) -> None:
    job = keeper.add_job(a_job(keeper))
    error = {"code": "volume", "message": "cannot read the series", "help": "Import it again."}
    assert keeper.end_job(job.id, JobState.FAILED, error=error).error == error
    assert keeper.job(job.id).error == error


def test_a_heartbeat_learns_that_somebody_asked_to_cancel(keeper: WorkspaceKeeper) -> None:
    job = keeper.add_job(a_job(keeper))
    assert not keeper.beat(job.id, done=1, total=2, message="").cancel_asked
    asked = keeper.ask_to_cancel(job.id)
    assert asked.cancel_asked
    assert not asked.state.is_over
    assert keeper.beat(job.id, done=2, total=2, message="").cancel_asked


def test_a_job_that_is_over_stays_as_it_ended(keeper: WorkspaceKeeper) -> None:
    job = keeper.add_job(a_job(keeper))
    over = keeper.end_job(job.id, JobState.CANCELED)
    assert keeper.beat(job.id, done=9, total=9, message="late") == over
    assert keeper.end_job(job.id, JobState.DONE, result="x") == over
    assert keeper.ask_to_cancel(job.id) == over
    assert keeper.job(job.id) == over


def test_jobs_on_a_subject_are_listed_newest_first(keeper: WorkspaceKeeper) -> None:
    old = keeper.add_job(a_job(keeper))
    new = keeper.add_job(a_job(keeper, started_at=OPENED + timedelta(minutes=5)))
    other = keeper.add_job(a_job(keeper, kind="other"))
    keeper.add_job(a_job(keeper, subject="image-2"))
    assert list(keeper.jobs_on("image-1", "bones")) == [new, old]
    assert {job.id for job in keeper.jobs_on("image-1")} == {old.id, new.id, other.id}


def test_only_jobs_without_a_late_heartbeat_are_marked_as_interrupted(
    keeper: WorkspaceKeeper,
) -> None:
    lost, alive, over = (keeper.add_job(a_job(keeper)) for _ in range(3))
    beaten = keeper.beat(alive.id, done=1, total=2, message="")
    keeper.end_job(over.id, JobState.DONE)
    marked = keeper.mark_orphans(older_than=OPENED + timedelta(seconds=30))
    assert [job.id for job in marked] == [lost.id]
    assert keeper.job(lost.id).state is JobState.INTERRUPTED
    assert keeper.job(alive.id) == beaten
    assert keeper.job(over.id).state is JobState.DONE
    assert list(keeper.mark_orphans(older_than=OPENED + timedelta(seconds=30))) == []


def test_a_transaction_that_fails_leaves_no_build(keeper: WorkspaceKeeper) -> None:
    clinic = a_clinic(keeper)

    def fail_half_way() -> None:
        with keeper.transaction():
            keeper.add_bone_build(a_build(keeper, clinic))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert list(keeper.bone_builds_of(clinic.person.id)) == []
