"""Write the lock files: exact versions, hashes, every platform, no address of an index."""

import subprocess

from bench.console import say, stopwatch
from bench.place import DEV_LOCK, LOCK, ROOT, program

COMPILE = (
    *(
        "pip",
        "compile",
        "pyproject.toml",
        "--quiet",
        "--universal",
        "--python-version",
        "3.11",
        "--generate-hashes",
    ),
    *("--no-emit-index-url", "--custom-compile-command", "python3 bootstrap.py lock"),
)
CONTENTS = {
    LOCK.name: ("--group", "build"),
    DEV_LOCK.name: (
        "--group",
        "build",
        "--group",
        "dev",
        "--extra",
        "postgresql",
        "--constraints",
        LOCK.name,
    ),
}


def write(*, upgrade: bool = False) -> int:
    """Write both locks; versions that still fit stay, unless an upgrade is wanted."""
    for name, contents in CONTENTS.items():
        with stopwatch(f"Writing {name}"):
            command = [
                program("uv"),
                *COMPILE,
                *contents,
                "--output-file",
                name,
                *(["--upgrade"] if upgrade else []),
            ]
            done = subprocess.run(command, cwd=ROOT, check=False)
        if done.returncode != 0:
            say(f"Cannot write {name}; the words of uv are above.")
            return done.returncode
    return 0
