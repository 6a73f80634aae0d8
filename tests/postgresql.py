"""A PostgreSQL server of the tests' own: made in a temporary folder, reached by a socket file."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

DEBIAN_PROGRAMS = Path(
    "/usr/lib/postgresql"
)  # each version in a folder of its own, not on the path
SETTINGS = "-c listen_addresses='' -c fsync=off -c full_page_writes=off -c synchronous_commit=off"


def find_programs() -> Path | None:
    """Folder with ``initdb`` and ``pg_ctl`` of the newest version; ``None`` without any."""
    folders = sorted(DEBIAN_PROGRAMS.glob("*/bin"), key=lambda path: float(path.parent.name))
    if folders:
        return folders[-1]
    found = shutil.which("initdb")
    return Path(found).resolve().parent if found else None


@contextmanager
def temporary_server(programs: Path) -> Iterator[Path]:
    """Run a server; yield the folder of its socket. The superuser is ``postgres``, all trusted."""
    folder = Path(tempfile.mkdtemp(prefix="hw-pg-"))  # short: a socket's path has 107 letters
    data = folder / "data"
    identity: dict[str, Any] = {}
    if hasattr(os, "geteuid") and os.geteuid() == 0:  # the server refuses to run as root
        identity = {"user": "postgres", "group": "postgres", "extra_groups": []}
        shutil.chown(folder, "postgres", "postgres")

    def run(program: str, *arguments: str) -> None:
        command = [str(programs / program), *arguments]
        log = (folder / "log.txt").read_text() if (folder / "log.txt").exists() else ""
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True, check=False, **identity
        )
        assert done.returncode == 0, f"{program}: {done.stdout}{done.stderr}{log}"

    try:
        run("initdb", "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")
        options = f"{SETTINGS} -k '{folder}'"
        run("pg_ctl", "-D", str(data), "-l", str(folder / "log.txt"), "-o", options, "-w", "start")
        try:
            yield folder
        finally:
            run("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
