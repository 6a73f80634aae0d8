"""How long the demonstration workspace takes to build, as a person starts it.

Run by itself: ``python -m benchmarks.bench_demonstration [FOLDER]``. Goal: 90 s on 2 cores.
Compiled functions are compiled before, as they are on any day but the first; ``--first`` builds
with nothing compiled. The workspace stays in FOLDER where one is named.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.serving import MEBIBYTE, command, environment, load, told

GOAL_S = 90.0


def build(folder: Path, *, compiled: bool = True) -> tuple[float, float, float]:
    """Seconds on the wall, seconds of processor time, and most memory in MiB.

    The workspace is ``demonstration`` in the folder; its key lies beside it.
    """
    own = environment(folder)
    if not compiled:
        own["NUMBA_CACHE_DIR"] = str(folder / "nothing-compiled")
    begun = time.perf_counter()
    process = subprocess.Popen(  # noqa: S603 - our own command
        command("demo", "--no-serve", "--workspace", str(folder / "demonstration")),
        env=own,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    said = process.stderr.read()
    _, status, used = os.wait4(process.pid, 0)
    assert status == 0, said
    kibibytes = used.ru_maxrss if sys.platform != "darwin" else used.ru_maxrss / 1024
    wall = time.perf_counter() - begun
    return wall, used.ru_utime + used.ru_stime, kibibytes * 1024 / MEBIBYTE


def main() -> None:
    """Print the figures."""
    named = [word for word in sys.argv[1:] if not word.startswith("--")]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(named[0] if named else name)
        before = load()
        wall, busy, memory = build(folder, compiled="--first" not in sys.argv)
    more = f"{busy:.0f} s of processor time; at most {memory:.0f} MiB; before it {before}"
    sys.stdout.write(told("demonstration built", wall, GOAL_S, "s", more=more) + "\n")


if __name__ == "__main__":
    main()
