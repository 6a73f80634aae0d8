"""Where things lie in a checkout."""

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
KEPT = ROOT / ".bench"  # what the bench keeps between runs; ignored by git
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
LOCK = ROOT / "requirements.lock"
DEV_LOCK = ROOT / "requirements-dev.lock"


def program(name: str) -> str:
    """Path of a program that an installed package brought into the environment."""
    return str(VENV / "Scripts" / f"{name}.exe" if os.name == "nt" else VENV / "bin" / name)


def in_ci() -> bool:
    """Tell whether this runs in continuous integration, where nothing may be skipped."""
    return os.environ.get("CI", "").lower() in {"1", "true", "yes"}
