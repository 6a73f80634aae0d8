"""The process of one job: ``python -m hipwright.apps.cli.job_process WORKSPACE JOB``.

Started by the server, never by hand. It opens the workspace by its folder, says every
other second how far it is, and keeps how it ended. Where it came from may be gone by then.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

STUCK = 3
"""Exit status of a process that ended itself because the work would not be given up."""


def run(workspace: str, job_id: str) -> None:
    """Carry out a job that is kept in the workspace."""
    from hipwright.adapters.jobs.pulse import Pulse
    from hipwright.domain.keeping_bones import Job, JobState
    from hipwright.wiring import job_work, open_workspace
    from hipwright.workflows.run_job import carry_out

    with open_workspace(Path(workspace), busy_timeout_s=30.0) as opened:
        keeper = opened.keeper

        def beat(done: int, total: int, message: str) -> Job:
            return keeper.beat(job_id, done=done, total=total, message=message)

        def give_up() -> None:
            keeper.end_job(job_id, JobState.CANCELED)
            os._exit(STUCK)

        job = keeper.job(job_id)
        if job.state.is_over:
            return
        with Pulse(beat, give_up=give_up) as pulse:
            carry_out(keeper, job_id, job_work(opened, job), pulse.progress)


if __name__ == "__main__":
    run(sys.argv[1], sys.argv[2])
