"""Heartbeats, processes and the results of finished stages."""

from __future__ import annotations

import os
import pickle
import threading
import time
import zlib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from hipwright.adapters.jobs.checkpoints import KEPT_S, CheckpointFolder
from hipwright.adapters.jobs.processes import start_process
from hipwright.adapters.jobs.pulse import Pulse
from hipwright.domain.errors import WorkspaceBusyError
from hipwright.domain.keeping_bones import Job, JobState
from hipwright.domain.volume import LabelEdits
from hipwright.workflows.run_job import WorkCanceledError
from tests.stick_bones import StickMaker, stick_volume

NOW = datetime(2026, 1, 2, tzinfo=UTC)
JOB = Job(
    id="1",
    kind="bones",
    subject="2",
    state=JobState.RUNNING,
    done=0,
    total=0,
    message="",
    started_at=NOW,
    heartbeat_at=NOW,
)
KEY = "0123456789abcdef-labels"


class Heart:
    """Counts beats; from some beat on it says that somebody asked to cancel."""

    def __init__(self, *, cancel_at: int = 10**9, busy_until: int = 0) -> None:
        self.cancel_at, self.busy_until = cancel_at, busy_until
        self.beats: list[tuple[int, int, str]] = []
        self.given_up = threading.Event()

    def beat(self, done: int, total: int, message: str) -> Job:
        self.beats.append((done, total, message))
        if len(self.beats) <= self.busy_until:
            raise WorkspaceBusyError("cannot write")
        return replace(JOB, cancel_asked=len(self.beats) >= self.cancel_at)

    def pulse(self, *, patience_s: float = 5.0) -> Pulse:
        return Pulse(self.beat, give_up=self.given_up.set, every_s=0.005, patience_s=patience_s)


def silent(what: str, done: int, total: int) -> None:
    """Watch nothing."""


def wait_for(condition: threading.Event | None, heart: Heart, beats: int = 0) -> None:
    until = time.monotonic() + 5.0
    while time.monotonic() < until:
        if condition is not None and condition.is_set():
            return
        if condition is None and len(heart.beats) >= beats:
            return
        time.sleep(0.002)
    raise AssertionError


def test_the_heart_beats_while_the_work_says_nothing() -> None:
    heart = Heart()
    with heart.pulse() as pulse:
        pulse.progress("labels", 3, 10)
        before = len(heart.beats)
        wait_for(None, heart, before + 3)
    assert heart.beats[-1] == (3, 10, "labels")
    after = len(heart.beats)
    time.sleep(0.02)
    assert len(heart.beats) == after


def test_a_busy_workspace_does_not_stop_the_heart() -> None:
    heart = Heart(busy_until=3)
    with heart.pulse():
        wait_for(None, heart, 5)


def test_work_learns_at_its_next_word_that_it_was_given_up() -> None:
    heart = Heart(cancel_at=2)

    def work(pulse: Pulse) -> None:
        for _ in range(5000):
            pulse.progress("labels", 1, 10)
            time.sleep(0.001)

    with heart.pulse() as pulse, pytest.raises(WorkCanceledError):
        work(pulse)
    assert not heart.given_up.is_set()


def test_work_that_does_not_listen_is_ended() -> None:
    heart = Heart(cancel_at=1)
    with heart.pulse(patience_s=0.01):
        wait_for(heart.given_up, heart)


def test_a_process_is_started_that_outlives_the_call(tmp_path: Path) -> None:
    (tmp_path / "leave_a_mark.py").write_text("import sys; open(sys.argv[1], 'w').write('here')")
    before = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = str(tmp_path)
    try:
        number = start_process("leave_a_mark", [str(tmp_path / "mark")])
    finally:
        if before is None:
            del os.environ["PYTHONPATH"]
        else:
            os.environ["PYTHONPATH"] = before
    assert number > 0
    until = time.monotonic() + 20.0
    while not (tmp_path / "mark").exists() and time.monotonic() < until:
        time.sleep(0.02)
    assert (tmp_path / "mark").read_text() == "here"


def test_a_stage_comes_back_as_it_was_put_by(tmp_path: Path) -> None:
    folder = CheckpointFolder(tmp_path / "unfinished")
    maker, volume = StickMaker(), stick_volume()
    segmented = maker.segment(volume, LabelEdits.none(volume.grid.shape), silent)
    models = maker.models(volume, segmented, lambda _share: None)
    assert folder.get(KEY) is None
    folder.put(KEY, ([(("a note",), segmented)], models))
    found = folder.get(KEY)
    assert isinstance(found, tuple)
    (((notes, back),), (bones, remarks)) = found
    assert notes == ("a note",)
    np.testing.assert_array_equal(back.labels.codes, segmented.labels.codes)
    assert (back.levels, back.remarks, back.part) == (
        segmented.levels,
        segmented.remarks,
        segmented.part,
    )
    np.testing.assert_array_equal(bones[0].surface.vertices, models[0][0].surface.vertices)
    assert [b.bone for b in bones] == [b.bone for b in models[0]]
    assert remarks == ()
    folder.drop([KEY])
    assert folder.get(KEY) is None
    assert list((tmp_path / "unfinished").iterdir()) == []


def test_a_file_that_somebody_exchanged_runs_nothing(tmp_path: Path) -> None:
    folder = CheckpointFolder(tmp_path)

    class Trap:
        def __reduce__(self) -> tuple[object, tuple[str]]:
            return os.mkdir, (str(tmp_path / "trapped"),)

    (tmp_path / KEY).write_bytes(zlib.compress(pickle.dumps(Trap())))
    assert folder.get(KEY) is None
    assert not (tmp_path / "trapped").exists()


@pytest.mark.parametrize("content", [b"", b"rubbish", zlib.compress(b"\x80\x05.")])
def test_a_damaged_result_only_costs_time(tmp_path: Path, content: bytes) -> None:
    (tmp_path / KEY).write_bytes(content)
    assert CheckpointFolder(tmp_path).get(KEY) is None


def test_results_that_nobody_took_up_are_removed_in_time(tmp_path: Path) -> None:
    folder = CheckpointFolder(tmp_path)
    folder.put(KEY, 1)
    old = time.time() - KEPT_S - 60
    os.utime(tmp_path / KEY, (old, old))
    folder.put("fedcba9876543210-labels", 2)
    assert [path.name for path in tmp_path.iterdir()] == ["fedcba9876543210-labels"]


def test_a_full_disk_stops_no_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_arguments: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "open", full)
    CheckpointFolder(tmp_path).put(KEY, 1)


def test_a_name_cannot_lead_out_of_the_folder(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="secret"):
        CheckpointFolder(tmp_path).get("../secret")
