"""Starting a job's process: an interpreter of its own that outlives a restart of the server."""

from __future__ import annotations

import atexit
import os
import subprocess
import sys
from collections.abc import Sequence

_started: list[subprocess.Popen[bytes]] = []
"""Processes of this one, so that those that have ended are let go of."""


def start_process(module: str, arguments: Sequence[str]) -> int:
    """Run a module in an interpreter of its own, in a session of its own; give its number.

    It sees this process's environment and none of its files; what it has to say, it keeps
    with its job.
    """
    _started[:] = [process for process in _started if process.poll() is None]
    # The module and the arguments are ours: a folder and an id.
    process = subprocess.Popen(  # noqa: S603 (no shell, a fixed program)
        [sys.executable, "-m", module, *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=os.name != "nt",
        creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
    )
    _started.append(process)
    return process.pid


@atexit.register
def _let_go() -> None:
    """Jobs outlive this process by design: their ends are not waited for."""
    for process in _started:
        process.returncode = process.poll() or 0
