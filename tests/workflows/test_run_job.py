"""Long work: its end is kept whatever happens, and one subject has one job under way."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from hipwright.domain.errors import VolumeError
from hipwright.domain.keeping_bones import JobState
from hipwright.workflows.ports import Progress
from hipwright.workflows.run_job import (
    BONES,
    SILENT_S,
    WorkCanceledError,
    carry_out,
    new_job,
    newest_job,
)
from tests.contract.fakes import MemoryKeeper
from tests.stick_bones import StillClock


def silent(what: str, done: int, total: int) -> None:
    """Watch nothing."""


@pytest.fixture
def keeper() -> MemoryKeeper:
    return MemoryKeeper()


def a_job(keeper: MemoryKeeper, clock: StillClock | None = None) -> str:
    job, is_new = new_job(keeper, BONES, "image-1", clock or StillClock())
    assert is_new
    return job.id


def test_work_that_ends_well_is_done_with_its_result(keeper: MemoryKeeper) -> None:
    job = carry_out(keeper, a_job(keeper), lambda progress: "build-1", silent)
    assert (job.state, job.result, job.error) == (JobState.DONE, "build-1", None)


@pytest.mark.parametrize(
    ("error", "state", "code"),
    [
        (WorkCanceledError(), JobState.CANCELED, None),
        (KeyboardInterrupt(), JobState.INTERRUPTED, None),
        (VolumeError("cannot", found="4 slices missing"), JobState.FAILED, "volume"),
        (MemoryError(), JobState.FAILED, "memory"),
        (ZeroDivisionError("a secret value"), JobState.FAILED, "unexpected"),
    ],
)
def test_the_end_of_work_that_breaks_off_is_kept(
    keeper: MemoryKeeper, error: BaseException, state: JobState, code: str | None
) -> None:
    def work(progress: Progress) -> str:
        progress("half way", 1, 2)
        raise error

    job = carry_out(keeper, a_job(keeper), work, silent)
    assert job.state is state
    assert keeper.job(job.id) == job
    if code is None:
        assert job.error is None
    else:
        assert job.error is not None
        assert job.error["code"] == code
        assert job.error["message"].startswith("cannot")
        assert "secret" not in str(job.error)


def test_a_refusal_keeps_its_four_parts(keeper: MemoryKeeper) -> None:
    refusal = VolumeError("cannot", found="4 slices missing", needed="all", next_step="Import.")

    def work(progress: Progress) -> str:
        raise refusal

    error = carry_out(keeper, a_job(keeper), work, silent).error
    assert error is not None
    assert (error["found"], error["needed"], error["help"]) == (
        "4 slices missing",
        "all",
        "Import.",
    )


def test_a_second_job_on_the_same_subject_is_the_first_one(keeper: MemoryKeeper) -> None:
    clock = StillClock()
    first, _ = new_job(keeper, BONES, "image-1", clock)
    assert new_job(keeper, BONES, "image-1", clock) == (first, False)
    assert new_job(keeper, BONES, "image-2", clock)[1]
    keeper.end_job(first.id, JobState.FAILED)
    again, is_new = new_job(keeper, BONES, "image-1", clock)
    assert is_new
    assert again.id != first.id


def test_a_job_whose_process_died_is_told_as_interrupted(keeper: MemoryKeeper) -> None:
    clock = StillClock()
    clock.at = datetime.now(UTC) - timedelta(seconds=SILENT_S + 5)
    job = a_job(keeper, clock)
    assert newest_job(keeper, BONES, "image-1", clock) == keeper.job(job)
    clock.at = datetime.now(UTC)
    found = newest_job(keeper, BONES, "image-1", clock)
    assert found is not None
    assert found.state is JobState.INTERRUPTED
    assert newest_job(keeper, BONES, "image-7", clock) is None
