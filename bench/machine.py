"""Programs of the machine that some checks use: a Chromium, PDF and DICOM tools, PostgreSQL."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from bench.console import say, say_loudly, stopwatch
from bench.place import in_ci


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """A program that some tests use: any of its names will do."""

    programs: tuple[str, ...]
    package: str  # Debian's
    unchecked: str  # what goes unchecked without it
    starts_service: bool = False  # then it is installed unasked in continuous integration only

    def find(self) -> Path | None:
        """Path of the program; ``None`` where it is missing."""
        found = next(filter(None, map(shutil.which, self.programs)), None)
        return None if found is None else Path(found)

    def __str__(self) -> str:
        return f"{self.programs[0]} (Debian package {self.package})"


TOOLS = (
    Tool(
        programs=("pdftotext",),
        package="poppler-utils",
        unchecked="the text and pages of PDF reports",
    ),
    Tool(
        programs=("dciodvfy",),
        package="dicom3tools",
        unchecked="the validity of the DICOM files that are written",
    ),
    Tool(
        programs=("pg_ctlcluster", "initdb"),
        package="postgresql",
        unchecked="keeping a workspace on PostgreSQL",
        starts_service=True,
    ),
)
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "msedge",
    "chrome",
)
BROWSER_PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    "{ProgramFiles}/Google/Chrome/Application/chrome.exe",
    "{ProgramFiles(x86)}/Google/Chrome/Application/chrome.exe",
    "{ProgramFiles}/Microsoft/Edge/Application/msedge.exe",
    "{ProgramFiles(x86)}/Microsoft/Edge/Application/msedge.exe",
)


def find_browser() -> Path | None:
    """Find a Chromium, Chrome or Edge; ``HIPWRIGHT_BROWSER`` goes before all."""
    named = os.environ.get("HIPWRIGHT_BROWSER")
    if named:
        return Path(named) if Path(named).is_file() else None
    for name in BROWSERS:
        if found := shutil.which(name):
            return Path(found)
    for place in BROWSER_PLACES:
        path = Path(place.format_map(_Environment(os.environ)))
        if path.is_file():
            return path
    return None


class _Environment(dict[str, str]):
    """Environment variables, an unknown one being a folder that is not there."""

    def __missing__(self, name: str) -> str:
        return f"no-{name}"


def bring_tools() -> None:
    """Install what is missing where that needs no question; say loudly what stays missing."""
    missing = [tool for tool in TOOLS if tool.find() is None]
    packages = [tool.package for tool in missing if in_ci() or not tool.starts_service]
    if find_browser() is None:
        packages.append("chromium")
    if packages:
        install_with_apt(packages)
    for tool in TOOLS:
        if tool.find() is None:
            tell_missing(f"{tool} was not found: tests of {tool.unchecked}")
    if find_browser() is None:
        tell_missing("no Chromium, Chrome or Edge was found: the browser tests")


def tell_missing(found: str) -> None:
    """Say what will not be checked, or, in continuous integration, will fail."""
    say_loudly(
        f"{found} will {'FAIL, since nothing may be skipped here' if in_ci() else 'be SKIPPED'}."
    )


def install_with_apt(packages: Iterable[str]) -> bool:
    """Install Debian packages, where that is possible without asking: as root, with apt."""
    names = sorted(packages)
    if not (sys.platform == "linux" and shutil.which("apt-get") and os.geteuid() == 0):
        return False
    quiet = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    command = ["apt-get", "install", "--yes", "--quiet", "--no-install-recommends"]
    with stopwatch(f"Installing {', '.join(names)} with apt"):
        subprocess.run(
            ["apt-get", "update", "--quiet"], env=quiet, capture_output=True, check=False
        )
        done = subprocess.run(
            [*command, *names], env=quiet, capture_output=True, text=True, check=False
        )
        if done.returncode != 0:
            # one unknown name must not keep the others out
            results = [
                subprocess.run([*command, name], env=quiet, capture_output=True, check=False)
                for name in names
            ]
            if any(result.returncode != 0 for result in results):
                said = done.stdout + done.stderr
                say(f"  apt could not install all of them:\n{said[-2000:]}")
                return False
    return True
