"""Running the steps: all of them, with one summary and an honest exit code."""

import sys

import pytest

from bench import check, machine
from bench.console import seconds
from bench.steps import STEPS, Step


def step(*codes: int) -> Step:
    commands = [(sys.executable, "-c", f"raise SystemExit({code})") for code in codes]
    return Step(commands=lambda: commands, environment={})


@pytest.fixture
def nothing_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check.install, "environment", lambda *, dev: None)


@pytest.mark.usefixtures("nothing_to_install")
def test_a_failed_step_does_not_keep_the_later_ones_from_running(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(check, "STEPS", {"one": step(0), "two": step(1, 0), "three": step(0)})
    assert check.run([]) == 1
    told = capfd.readouterr().out
    assert "--- two: FAILED" in told
    assert "--- three: passed" in told
    assert "python3 bootstrap.py check two\n" in told
    assert told.endswith("steps: 2 passed, 1 failed\n")


@pytest.mark.usefixtures("nothing_to_install")
def test_all_steps_passing_exits_with_zero(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(check, "STEPS", {"one": step(0, 0)})
    assert check.run(["one"]) == 0
    assert capfd.readouterr().out.endswith("steps: 1 passed, 0 failed\n")


def test_an_unknown_step_is_refused_with_the_names_of_the_known(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert check.run(["spell"]) == 2
    assert " ".join(STEPS) in capsys.readouterr().out


def test_the_steps_are_those_that_the_house_knows() -> None:
    assert list(STEPS) == ["format-check", "lint", "types", "imports", "tests", "docs", "browser"]


def test_a_named_browser_goes_before_all_and_a_wrong_one_is_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("HIPWRIGHT_BROWSER", sys.executable)
    assert str(machine.find_browser()) == sys.executable
    monkeypatch.setenv("HIPWRIGHT_BROWSER", "no-such-browser")
    assert machine.find_browser() is None


def test_durations_read_like_a_person_would_say_them() -> None:
    assert seconds(4.25) == "4.2 s"
    assert seconds(125.4) == "2 min 05 s"


@pytest.fixture
def bare_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine on which nothing is found and nothing can be installed."""
    monkeypatch.setattr(machine, "find_browser", lambda: None)
    monkeypatch.setattr(machine.shutil, "which", lambda _: None)
    monkeypatch.setattr(machine, "install_with_apt", lambda _: False)


@pytest.mark.usefixtures("bare_machine")
@pytest.mark.parametrize(("ci", "word"), [("", "SKIPPED"), ("true", "FAIL")])
def test_what_goes_unchecked_is_said_loudly(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], ci: str, word: str
) -> None:
    monkeypatch.setenv("CI", ci)
    machine.bring_tools()
    told = capsys.readouterr().out
    assert told.count(word) == 1 + len(machine.TOOLS)
    assert "browser tests" in told
    assert "dicom3tools" in told


@pytest.mark.usefixtures("bare_machine")
@pytest.mark.parametrize(("ci", "installed"), [("", False), ("true", True)])
def test_a_database_service_is_installed_unasked_only_in_continuous_integration(
    monkeypatch: pytest.MonkeyPatch, ci: str, *, installed: bool
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(machine, "install_with_apt", asked.extend)
    monkeypatch.setenv("CI", ci)
    machine.bring_tools()
    assert ("postgresql" in asked) == installed
    assert {"chromium", "poppler-utils", "dicom3tools"} <= set(asked)
