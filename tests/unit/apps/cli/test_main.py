"""``hipwright`` itself: its commands, exit codes and streams, also as a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import typer

from hipwright import __version__
from hipwright.apps.cli.main import app
from hipwright.apps.cli.progress import progress_on_stderr
from tests.analytic_cases import SMALL
from tests.unit.apps.cli.workbench import landmark_file, run, valid

# DESIGN, "Commands", without the rows marked "later" and those of later issues.
COMMANDS = (
    *("demo", "serve", "add", "cases", "show", "landmarks", "measure", "bones", "report"),
    *("export", "catalog", "backup", "restore", "doctor"),
)


def test_every_command_is_there_and_none_else() -> None:
    group = typer.main.get_group(app)
    assert sorted(group.commands) == sorted(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_tells_what_it_does(command: str) -> None:
    done = run(command, "--help")
    assert done.exit_code == 0
    assert f"Usage: hipwright {command}" in done.stdout or f"{command} [OPTIONS]" in done.stdout


def test_help_says_for_whom_it_is() -> None:
    told = " ".join(run("--help").stdout.split())
    assert "for licensed clinicians" in told
    assert "No medical device" in told


def test_the_version_is_told() -> None:
    assert run("--version").stdout == f"hipwright {__version__}\n"


def test_an_unknown_command_is_a_usage_error() -> None:
    done = run("operate")
    assert done.exit_code == 2
    assert done.stdout == ""


Process = Callable[..., subprocess.CompletedProcess[bytes]]


@pytest.fixture
def process(machine: Path) -> Process:
    """Run ``hipwright`` as a process whose terminal speaks ASCII only."""
    environment = os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}

    def start(*arguments: object) -> subprocess.CompletedProcess[bytes]:
        command = [sys.executable, "-c", "from hipwright.apps.cli.main import app; app()"]
        return subprocess.run(
            [*command, *map(str, arguments)],
            capture_output=True,
            check=False,
            cwd=machine,
            env=environment,
            timeout=60,
        )

    return start


def test_a_document_is_utf_8_on_any_terminal(process: Process, machine: Path) -> None:
    size = f"{SMALL.columns}x{SMALL.rows}"
    path = landmark_file(machine, "ap")
    done = process("measure", "--from", path, "--size", size, "--json")
    assert (done.returncode, done.stderr) == (0, b"")
    found = valid(done.stdout.decode("utf-8"))
    assert any("Tönnis" in item["name"] for item in found["items"])


def test_a_refusal_exits_with_1_and_says_it_on_one_stream(process: Process) -> None:
    told = process("measure", "NO-CASE")
    assert (told.returncode, told.stdout) == (1, b"")
    assert b"Traceback" not in told.stderr
    assert told.stderr.strip()
    document = process("measure", "NO-CASE", "--json")
    assert (document.returncode, document.stderr) == (1, b"")
    assert valid(document.stdout.decode("utf-8"))["format"] == "hipwright.error"


def test_progress_never_reaches_stdout(capsys: pytest.CaptureFixture[str]) -> None:
    with progress_on_stderr() as progress:
        progress("reading", 1, 2)
    assert capsys.readouterr().out == ""


def test_progress_is_shown_on_stderr_where_somebody_watches(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("FORCE_COLOR", "1")
    with progress_on_stderr() as progress:
        progress("reading films", 1, 2)
        progress("counting", 5, 0)
    said = capsys.readouterr()
    assert said.out == ""
    assert "counting" in said.err
