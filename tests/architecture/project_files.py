"""The files that belong to the project: what git knows or would take in."""

import functools
import shutil
import subprocess
from pathlib import Path

from bench.place import ROOT
from tests.needs import skip_unless_ci

PICTURES = {
    ".png",
    ".jpg",
    ".jpeg",
    ".gif",
    ".ico",
    ".woff2",
    ".pdf",
    ".dcm",
    ".npz",
    ".vtp",
    ".zip",
}
MACHINE_MADE = {"package-lock.json", "requirements.lock", "requirements-dev.lock", "LICENSE"}


@functools.cache
def project_files() -> tuple[Path, ...]:
    """Every file of the project, relative to its root."""
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        skip_unless_ci("this is not a git checkout, so the project's files are not known")
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return tuple(Path(name) for name in listed.split("\0") if name and (ROOT / name).is_file())


@functools.cache
def text_lines() -> tuple[tuple[Path, int, str], ...]:
    """Every line of every text file that people wrote, with its file and number."""
    return tuple(
        (file, number, line)
        for file in project_files()
        if file.suffix not in PICTURES and file.name not in MACHINE_MADE
        for number, line in enumerate(
            (ROOT / file).read_text(encoding="utf-8").splitlines(), start=1
        )
    )
