"""``report``: a file that is whole or not there, with identity only when asked."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from hipwright import wiring
from hipwright.adapters.wire.documents import CAUTION
from tests.analytic_cases import BORN, NAME, NUMBER, KeptCase
from tests.unit.apps.cli.workbench import case_with, document, landmark_file, refusal, run


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[KeptCase]:
    """One read case for all tests here: printing changes nothing in a workspace."""
    folder = tmp_path_factory.mktemp("reported")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HIPWRIGHT_WORKSPACE", str(folder / "workspace"))
        patch.setenv("HIPWRIGHT_CONFIG", str(folder / "config"))
        kept = case_with("ap")
        run("landmarks", kept.case.code, "--from", landmark_file(folder, "ap"))
        yield kept


def true_date(kept: KeptCase) -> str:
    acquired = kept.images["ap"].acquired_on
    assert acquired is not None
    with wiring.open_workspace() as opened:
        return opened.identity.true_date(kept.person.id, acquired).isoformat()


@pytest.mark.parametrize(
    ("ending", "start"), [("pdf", b"%PDF-"), ("html", b"<!doctype html>"), ("TXT", b"Left hip (")]
)
def test_a_report_is_written_in_the_form_of_its_ending(
    kept: KeptCase, tmp_path: Path, ending: str, start: bytes
) -> None:
    to = tmp_path / f"report.{ending}"
    found = document(run("report", kept.case.code, "--to", to, "--json"))
    assert (found["case"], found["file"], found["films"]) == (kept.case.code, to.name, 2)
    assert to.read_bytes().lstrip().startswith(start)
    assert [path.name for path in tmp_path.iterdir()] == [to.name]
    told = run("report", kept.case.code, "--to", to)
    assert told.stdout == f"{kept.case.code}: report written to {to}.\n"


def test_the_letter_has_values_intervals_and_the_caution(kept: KeptCase, tmp_path: Path) -> None:
    to = tmp_path / "letter.txt"
    run("report", kept.case.code, "--to", to)
    letter = to.read_text("utf-8")
    assert "lateral center-edge angle, to the sourcil 29.0° (95 % interval" in letter
    assert CAUTION in letter


def test_identity_is_written_only_with_identity(kept: KeptCase, tmp_path: Path) -> None:
    secrets = [NAME, NUMBER, BORN.isoformat(), true_date(kept)]
    to = tmp_path / "report.html"
    run("report", kept.case.code, "--to", to)
    plain = to.read_text("utf-8")
    assert not [secret for secret in secrets if secret in plain]
    assert "at 26.7 years" in plain
    run("report", kept.case.code, "--to", to, "--with-identity")
    named = to.read_text("utf-8")
    assert [secret for secret in secrets if secret in named] == secrets


def test_an_observer_can_be_named(kept: KeptCase, tmp_path: Path) -> None:
    to = tmp_path / "report.html"
    run("report", kept.case.code, "--to", to, "--observer", "human:nobody")
    assert "No film of this hip has been read yet" in to.read_text("utf-8")
    run("report", kept.case.code, "--to", to, "--observer", "phantom:analytic")
    assert "Read by phantom:analytic" in to.read_text("utf-8")


@pytest.mark.parametrize("name", ["report", "report.docx", "report.pdf.exe"])
def test_an_ending_that_is_none_is_refused(kept: KeptCase, tmp_path: Path, name: str) -> None:
    error = refusal(run("report", kept.case.code, "--to", tmp_path / name, "--json"))
    assert error["field"] == "to"
    assert ".pdf, .html, .txt" in error["message"]
    assert not (tmp_path / name).exists()


def old_report(machine: Path) -> Path:
    to = machine / "out" / "report.txt"
    to.parent.mkdir()
    to.write_text("older")
    return to


def test_a_full_disk_leaves_the_older_report_whole(
    kept: KeptCase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to = old_report(tmp_path)
    write = Path.write_bytes

    def full(path: Path, content: bytes) -> int:
        write(path, content[:7])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_bytes", full)
    error = refusal(run("report", kept.case.code, "--to", to, "--json"))
    assert "No space left" in error["message"]
    assert to.read_text() == "older"
    assert list(to.parent.iterdir()) == [to]


def test_a_folder_that_cannot_be_written_leaves_the_older_report_whole(
    kept: KeptCase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to = old_report(tmp_path)
    if os.geteuid() == 0:  # root may write everywhere, so the system's answer is imitated

        def forbidden(*_: Any, **__: Any) -> int:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))

        monkeypatch.setattr(Path, "write_bytes", forbidden)
    else:
        to.parent.chmod(0o500)
    error = refusal(run("report", kept.case.code, "--to", to, "--json"))
    to.parent.chmod(0o700)
    assert error["field"] == "to"
    assert to.read_text() == "older"
    assert list(to.parent.iterdir()) == [to]


def a_folder(machine: Path) -> Path:
    (machine / "a.txt").mkdir()
    return machine / "a.txt"


def below_a_file(machine: Path) -> Path:
    (machine / "file").write_text("x")
    return machine / "file" / "a.txt"


def beside_a_folder(machine: Path) -> Path:
    (machine / "a.txt.part").mkdir()
    return machine / "a.txt"


@pytest.mark.parametrize(
    "place", [a_folder, below_a_file, beside_a_folder, lambda m: m / "none" / "a.txt"]
)
def test_a_place_that_takes_no_file_is_refused(
    kept: KeptCase, tmp_path: Path, place: Callable[[Path], Path]
) -> None:
    to = place(tmp_path)
    error = refusal(run("report", kept.case.code, "--to", to, "--json"))
    assert error["code"] == "keeping"
    assert not to.is_file()


def test_a_case_that_is_not_there_is_refused(kept: KeptCase, tmp_path: Path) -> None:
    error = refusal(run("report", "NO-CASE", "--to", tmp_path / "a.pdf", "--json"))
    assert error["code"] == "not_found"
    assert not (tmp_path / "a.pdf").exists()
