"""A job's own process: started from a workspace, ended with its result or its refusal kept."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from hipwright import wiring
from hipwright.domain.keeping_bones import Job, JobState
from hipwright.workflows.run_job import BONES
from tests.contract.kept_things import a_clinic

LONGEST_S = 60.0  # a fresh interpreter on a busy machine


def ended(opened: wiring.Workspace, job: str) -> Job:
    until = time.monotonic() + LONGEST_S
    while time.monotonic() < until:
        found = opened.keeper.job(job)
        if found.state.is_over:
            return found
        time.sleep(0.05)
    raise AssertionError(opened.keeper.job(job).state)


def test_a_job_process_keeps_the_refusal_it_ends_with(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "machine"))
    with wiring.open_workspace(tmp_path / "workspace", create=True) as opened:
        film = a_clinic(opened.keeper).film
        assert wiring.bones_job(opened, film.id) is None
        job = wiring.start_bones_job(opened, film.id)
        assert (job.kind, job.subject) == (BONES, film.id)
        over = ended(opened, job.id)
        assert over.state is JobState.FAILED
        assert over.error is not None
        assert over.error["code"] == "volume"
        assert over.error["found"] == "a film"
        assert wiring.bones_job(opened, film.id) == over
        assert wiring.cancel_job(opened, job.id) == over
