"""A workbench started as a person starts it, in a process of its own, and asked over HTTP."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx

from bench.sandbox import private_environment

LINK = re.compile(r"(https?://\S+)(/start/\S+)")
MEBIBYTE = 1 << 20


def environment(folder: Path) -> dict[str, str]:
    """The machine's environment with places of its own below a folder, quiet numerics."""
    return os.environ | private_environment(folder) | {"OMP_NUM_THREADS": "1"}


def command(*words: str) -> list[str]:
    """How hipwright is started with this interpreter."""
    run = "from hipwright.apps.cli.main import app; app()"
    return [sys.executable, "-c", run, *words]


@dataclass(kw_only=True)
class Serving:
    """A server that answers; ``client`` is signed in."""

    address: str
    process: subprocess.Popen[str]
    client: httpx.Client
    first_page_s: float

    def memory_mib(self, what: str = "VmRSS") -> float:
        """Memory of the process: now (``VmRSS``) or at its most (``VmHWM``), where Linux tells."""
        told = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        found = re.search(rf"{what}:\s+(\d+) kB", told)
        assert found is not None
        return int(found[1]) * 1024 / MEBIBYTE


@contextmanager
def serving(workspace: Path, folder: Path) -> Iterator[Serving]:
    """Serve a workspace; the clock runs from the start of the process to the first whole page."""
    begun = time.perf_counter()
    process = subprocess.Popen(  # noqa: S603 - our own command
        command("serve", "--no-browser", "--port", "0", "--workspace", str(workspace)),
        env=environment(folder),
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        address, start = _link(process)
        with httpx.Client(base_url=address, headers={"Origin": address}, timeout=120) as client:
            client.headers["Accept"] = "text/html"
            answer = client.get(start, follow_redirects=True)
            taken = time.perf_counter() - begun
            answer.raise_for_status()
            yield Serving(address=address, process=process, client=client, first_page_s=taken)
    finally:
        process.terminate()
        process.wait(timeout=20)


def _link(process: subprocess.Popen[str]) -> tuple[str, str]:
    assert process.stderr is not None
    said: list[str] = []
    for line in process.stderr:
        said.append(line)
        if found := LINK.search(line):
            threading.Thread(target=process.stderr.read, daemon=True).start()  # never fills up
            return found[1], found[2]
    raise RuntimeError(f"the server told no start link: {''.join(said)}")


def load() -> str:
    """How busy the machine is, to be read beside every figure."""
    busy = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return f"load {busy:.1f} on {os.cpu_count()} cores"


def told(what: str, figure: float, goal: float, unit: str, *, more: str = "") -> str:
    """One line: the goal, the figure, and the figure's share of the goal."""
    line = (
        f"{what}: {figure:.4g} {unit} (goal {goal:g} {unit}, {figure / goal:.2f} of it); {load()}"
    )
    return f"{line}; {more}" if more else line
