"""Carry out a long piece of work: told how far it is, canceled on request, its end kept."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from hipwright.domain.errors import HipwrightError, KeepingError
from hipwright.domain.keeping_bones import Job, JobState
from hipwright.workflows.ports import BoneKeeper, Clock, Progress, WorkspaceKeeper

BONES = "bones"
"""The kind of job that makes bone models; its subject is the id of the hips' series."""

SILENT_S = 45.0
"""A job without a heartbeat for so long has died: its process beats every other second."""


class WorkCanceledError(Exception):
    """Somebody asked for the work to be given up; raised by its progress."""


def new_job(keeper: WorkspaceKeeper, kind: str, subject: str, clock: Clock) -> tuple[Job, bool]:
    """Keep a job, or find the one that is under way on the same subject.

    Returns
    -------
    The job, and whether it is new and has to be started.
    """
    mark_dead(keeper, clock)
    with keeper.transaction():
        for job in keeper.jobs_on(subject, kind):
            if not job.state.is_over:
                return job, False
        now = clock.now()
        job = Job(
            id=keeper.new_id(),
            kind=kind,
            subject=subject,
            state=JobState.WAITING,
            done=0,
            total=0,
            message="waiting to begin",
            started_at=now,
            heartbeat_at=now,
        )
        return keeper.add_job(job), True


def mark_dead(keeper: BoneKeeper, clock: Clock) -> None:
    """Mark jobs whose process has died as interrupted."""
    keeper.mark_orphans(older_than=clock.now() - timedelta(seconds=SILENT_S))


def newest_job(keeper: WorkspaceKeeper, kind: str, subject: str, clock: Clock) -> Job | None:
    """The newest job on a subject as it is now."""
    mark_dead(keeper, clock)
    return next(iter(keeper.jobs_on(subject, kind)), None)


def carry_out(
    keeper: BoneKeeper, job: str, work: Callable[[Progress], str], progress: Progress
) -> Job:
    """Do the work of a job, and keep how it ended.

    Parameters
    ----------
    work
        Takes a progress, gives the id of what it made.
    progress
        Tells the heartbeat; raises :class:`WorkCanceledError` once somebody has asked.

    Returns
    -------
    Job
        Done, failed or canceled; nothing that goes wrong in the work is raised further,
        except what ends a program.
    """
    try:
        result = work(progress)
    except WorkCanceledError:
        return keeper.end_job(job, JobState.CANCELED)
    except KeyboardInterrupt:
        return keeper.end_job(job, JobState.INTERRUPTED)
    except HipwrightError as error:
        return keeper.end_job(job, JobState.FAILED, error=told(error))
    except MemoryError:
        return keeper.end_job(job, JobState.FAILED, error=_memory())
    except Exception as error:
        return keeper.end_job(job, JobState.FAILED, error=_unexpected(error))
    return keeper.end_job(job, JobState.DONE, result=result)


def unknown_kind(job: Job) -> KeepingError:
    """A job of a kind that this hipwright cannot do."""
    return KeepingError(
        "cannot do the job",
        found=f"a job of the kind {job.kind}",
        needed=BONES,
        next_step="Update hipwright on this machine.",
    )


def told(error: HipwrightError) -> dict[str, str]:
    """A refusal as it is kept with a job."""
    return {
        "code": error.code,
        "message": str(error),
        "found": error.found,
        "needed": error.needed,
        "help": error.next_step,
    }


def _memory() -> dict[str, str]:
    return {
        "code": "memory",
        "message": "cannot finish: this machine has not enough free memory.",
        "found": "no more free memory",
        "needed": "about 3 GB for a scan of 300 slices",
        "help": "Close other programs and start again: it goes on from the last finished stage.",
    }


def _unexpected(error: Exception) -> dict[str, str]:
    """What is kept of a fault in the program: where it was, never what was in the values."""
    last = traceback.extract_tb(error.__traceback__)[-1:]
    where = ", ".join(f"{Path(frame.filename).name} line {frame.lineno}" for frame in last)
    return {
        "code": "unexpected",
        "message": f"cannot finish: a fault in the program ({type(error).__name__}, {where}).",
        "found": type(error).__name__,
        "needed": "",
        "help": "Start again. If it fails again, report the fault: nothing was lost.",
    }
