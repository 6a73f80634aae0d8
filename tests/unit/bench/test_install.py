"""Installing: what is done the first time, and what is left out the second."""

import json
from pathlib import Path

import pytest

from bench import install


class Recorder:
    """Stands for the machine: keeps what would have been installed."""

    def __init__(self) -> None:
        self.done: list[str] = []

    def take(self) -> list[str]:
        done, self.done = self.done, []
        return done


@pytest.fixture
def recorder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Recorder:
    recorder = Recorder()
    lock, dev_lock = tmp_path / "requirements.lock", tmp_path / "requirements-dev.lock"
    lock.write_text("a==1\n")
    dev_lock.write_text("a==1\nb==1\n")
    monkeypatch.setattr(install, "ROOT", tmp_path)
    monkeypatch.setattr(install, "LOCK", lock)
    monkeypatch.setattr(install, "DEV_LOCK", dev_lock)
    monkeypatch.setattr(install, "STAMP", tmp_path / "stamp.json")
    monkeypatch.setattr(install, "make_environment", lambda: None)
    monkeypatch.setattr(install, "package_fingerprint", lambda: "package")
    monkeypatch.setattr(
        install, "install_lock", lambda lock, *, first: recorder.done.append(lock.name)
    )
    monkeypatch.setattr(install, "install_hipwright", lambda: recorder.done.append("hipwright"))
    monkeypatch.setattr(install, "install_npm_tools", lambda: recorder.done.append("npm"))
    return recorder


def test_the_second_time_nothing_is_installed(recorder: Recorder) -> None:
    install.environment()
    assert recorder.take() == ["requirements.lock", "hipwright"]
    install.environment()
    assert recorder.take() == []


def test_the_development_lock_holds_the_other_one(recorder: Recorder) -> None:
    install.environment(dev=True)
    assert recorder.take() == ["requirements-dev.lock", "hipwright", "npm"]
    install.environment()
    assert recorder.take() == []


def test_a_changed_lock_is_installed_again(recorder: Recorder) -> None:
    install.environment()
    install.LOCK.write_text("a==2\n")
    recorder.take()
    install.environment()
    assert recorder.take() == ["requirements.lock", "hipwright"]


def test_a_changed_package_is_installed_without_its_dependencies(
    recorder: Recorder, monkeypatch: pytest.MonkeyPatch
) -> None:
    install.environment()
    recorder.take()
    monkeypatch.setattr(install, "package_fingerprint", lambda: "another")
    install.environment()
    assert recorder.take() == ["hipwright"]


def test_an_install_that_broke_off_is_done_again(
    recorder: Recorder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> None:
        raise install.SetupError("no network")

    monkeypatch.setattr(install, "install_hipwright", fail)
    with pytest.raises(install.SetupError):
        install.environment()
    assert not install.STAMP.exists()


def test_a_damaged_stamp_counts_as_none(recorder: Recorder) -> None:
    install.STAMP.write_text("{")
    install.environment()
    assert recorder.take() == ["requirements.lock", "hipwright"]
    assert json.loads(install.STAMP.read_text())["package"] == "package"
