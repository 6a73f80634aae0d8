"""The heartbeat of a job, from a thread of its process, and the way to give the work up."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Self

from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping_bones import Job
from hipwright.workflows.run_job import WorkCanceledError

BEAT_S = 2.0
"""How often a job says that it lives."""

PATIENCE_S = 10.0
"""How long the work has to notice that somebody gave it up; then its process ends."""

Beat = Callable[[int, int, str], Job]


class Pulse:
    """Says how far the work is, every other second, also while the work itself says nothing.

    Parameters
    ----------
    beat
        Keeps how far the job is, and answers with the job as it is kept.
    give_up
        Called when the work does not react to being given up: ends the process.
    """

    def __init__(
        self,
        beat: Beat,
        *,
        give_up: Callable[[], None],
        every_s: float = BEAT_S,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._beat = beat
        self._give_up = give_up
        self._every_s = every_s
        self._patience_s = patience_s
        self._told = (0, 0, "beginning")
        self._over = threading.Event()
        self._canceled = threading.Event()
        self._thread = threading.Thread(target=self._run, name="pulse", daemon=True)

    def progress(self, what: str, done: int, total: int) -> None:
        """Say how far the work is.

        Raises
        ------
        WorkCanceledError
            Somebody has asked for the work to be given up.
        """
        self._told = (done, total, what)
        if self._canceled.is_set():
            raise WorkCanceledError

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._thread.join()

    def _run(self) -> None:
        while True:
            with suppress(KeepingError):  # a busy workspace: the next beat will come through
                job = self._beat(*self._told)
                if job.cancel_asked or job.state.is_over:
                    self._canceled.set()
                    if not self._over.wait(self._patience_s):
                        self._give_up()
                    return
            if self._over.wait(self._every_s):
                return
