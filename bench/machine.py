"""Programs of the machine that some checks use: a Chromium, PDF and DICOM tools."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

from bench.console import say, say_loudly, stopwatch
from bench.place import in_ci

# program on the path: Debian package that has it, and what goes unchecked without it
TOOLS = {
    "pdftotext": ("poppler-utils", "the text and pages of PDF reports"),
    "dciodvfy": ("dicom3tools", "the validity of the DICOM files that are written"),
}
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
    missing = {
        program: package
        for program, (package, _) in TOOLS.items()
        if shutil.which(program) is None
    }
    if find_browser() is None:
        missing["chromium"] = "chromium"
    if not missing:
        return
    install_with_apt(missing.values())
    if "chromium" in missing and find_browser() is None:
        tell_missing("no Chromium, Chrome or Edge was found: the browser tests")
    for program, (package, what) in TOOLS.items():
        if shutil.which(program) is None:
            tell_missing(f"{program} (Debian package {package}) was not found: tests of {what}")


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
