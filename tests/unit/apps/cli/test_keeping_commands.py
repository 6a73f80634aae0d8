"""``cases``, ``show``, ``backup``, ``restore`` and ``doctor`` as people and scripts meet them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from typer.testing import CliRunner, Result

from hipwright import wiring
from hipwright.adapters.wire.documents import ErrorDocument, schema_of
from hipwright.adapters.wire.keeping_documents import KEEPING_DOCUMENTS
from hipwright.apps.cli.main import app
from hipwright.domain.keeping import Identity
from tests.contract.kept_things import Clinic, a_clinic, a_grade, some_landmarks

NAME, NUMBER = "Invented^Terminal", "planted-2718"
PASSPHRASE = "HIPWRIGHT_BACKUP_PASSPHRASE"  # noqa: S105 - the variable's name


@pytest.fixture(autouse=True)
def own_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HIPWRIGHT_WORKSPACE", str(tmp_path / "workspace"))
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "machine"))
    monkeypatch.delenv(PASSPHRASE, raising=False)


@pytest.fixture
def clinic() -> Clinic:
    with wiring.open_workspace(create=True) as opened:
        clinic = a_clinic(opened.keeper)
        opened.keeper.save_reading(clinic.case.id, some_landmarks(clinic.film), expected_version=0)
        opened.keeper.save_grade(a_grade(opened.keeper, clinic, "2"))
        opened.identity.save(
            Identity(
                person=clinic.person.id, name=NAME, numbers=(NUMBER,), birth_date=None, sex=None
            )
        )
        return clinic


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [*map(str, arguments)], env={"COLUMNS": "200"})


def document(done: Result) -> dict[str, Any]:
    """The one document on stdout, valid by its own schema."""
    found = json.loads(done.stdout)
    models = {**KEEPING_DOCUMENTS, "hipwright.error": ErrorDocument}
    jsonschema.validate(found, schema_of(models[found["format"]]))
    assert found["version"] == 1
    return found


def test_cases_are_listed_without_identity_unless_it_is_asked_for(clinic: Clinic) -> None:
    done = run("cases")
    assert done.exit_code == 0
    assert clinic.case.code in done.stdout
    assert "left" in done.stdout
    for planted in (NAME, NUMBER):
        assert planted not in done.stdout
        assert planted in run("cases", "--with-identity").stdout


def test_cases_and_show_print_one_document_without_identity(clinic: Clinic) -> None:
    (listed,) = document(run("cases", "--json"))["items"]
    shown = document(run("show", clinic.case.code.lower(), "--json"))
    assert listed == shown["case"]
    assert (listed["code"], listed["side"], listed["images"]) == (clinic.case.code, "left", 1)
    assert "identity" not in listed
    assert [image["id"] for image in shown["images"]] == [clinic.film.id]
    assert (shown["readings"][0]["points"], shown["readings"][0]["contours"]) == (2, 1)
    assert shown["grades"][0]["value"] == "2"
    assert [change["version"] for change in shown["history"]] == [1]
    told = document(run("show", clinic.case.code, "--json", "--with-identity"))["case"]["identity"]
    assert told == {"name": NAME, "numbers": [NUMBER]}


def test_show_tells_a_person_what_is_kept(clinic: Clinic) -> None:
    told = run("show", clinic.case.code).stdout
    for words in (clinic.case.summary, clinic.film.id, "pelvis_ap", "marker of known size"):
        assert words in told
    assert "2019-05-06" in told
    assert NAME not in told


def test_show_with_identity_shows_true_dates(clinic: Clinic) -> None:
    with wiring.open_workspace() as opened:
        assert clinic.film.acquired_on is not None
        true = opened.identity.true_date(clinic.person.id, clinic.film.acquired_on)
    told = run("show", clinic.case.code, "--with-identity").stdout
    assert true.isoformat() in told
    assert "2019-05-06" not in told
    assert NAME in told


def test_no_cases_yet_says_how_to_take_some_in() -> None:
    wiring.open_workspace(create=True).close()
    assert "hipwright add" in run("cases").stdout


@pytest.mark.parametrize("command", [["cases"], ["show", "X"], ["backup", "b"]])
def test_without_a_workspace_commands_refuse_and_exit_with_1(command: list[str]) -> None:
    done = run(*command)
    assert done.exit_code == 1
    assert done.stdout == ""
    assert "hipwright demo" in done.stderr
    done = run(*command, "--json")
    assert done.exit_code == 1
    assert document(done)["error"]["code"] == "not_found"


def test_a_backup_without_the_key_says_so_loudly(clinic: Clinic, tmp_path: Path) -> None:
    done = run("backup", tmp_path / "b")
    assert done.exit_code == 0
    assert "NOT the key" in done.stderr
    assert "--with-key" in done.stderr


def test_a_backup_with_the_key_comes_back_on_another_machine(
    clinic: Clinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(PASSPHRASE, "four random plain words")
    made = document(run("backup", tmp_path / "b", "--with-key", "--json"))
    assert (made["with_key"], made["with_identity"], made["damaged"]) == (True, True, 0)
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "other machine"))
    done = run("restore", tmp_path / "b", "--workspace", tmp_path / "new", "--json")
    assert document(done)["key_is_here"] is True
    assert done.stderr == ""
    listed = run("cases", "--with-identity", "--workspace", tmp_path / "new")
    assert NAME in listed.stdout


def test_a_restore_without_a_terminal_or_passphrase_refuses_and_restores_nothing(
    clinic: Clinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(PASSPHRASE, "four random plain words")
    run("backup", tmp_path / "b", "--with-key")
    monkeypatch.delenv(PASSPHRASE)
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "other machine"))
    done = run("restore", tmp_path / "b", "--workspace", tmp_path / "new")
    assert done.exit_code == 1
    assert PASSPHRASE in done.stderr
    assert not (tmp_path / "new").exists()
    done = run("restore", tmp_path / "b", "--workspace", tmp_path / "new", "--without-key")
    assert done.exit_code == 0
    assert "is not on this machine" in done.stderr
    assert NAME not in done.stdout


def test_a_backup_of_a_damaged_workspace_is_made_but_exits_with_1(
    clinic: Clinic, tmp_path: Path
) -> None:
    with wiring.open_workspace() as opened:
        opened.keeper.files.path(clinic.film.files[0]).unlink()
    done = run("backup", tmp_path / "b")
    assert done.exit_code == 1
    assert "hipwright doctor" in done.stderr
    assert (tmp_path / "b").is_file()


def test_the_doctor_exits_with_0_on_a_sound_workspace(clinic: Clinic) -> None:
    done = run("doctor")
    assert done.exit_code == 0
    assert "present and unchanged" in done.stdout
    found = document(run("doctor", "--quick", "--json"))
    assert found["sound"] is True
    assert {item["state"] for item in found["items"]} <= {"ok", "note"}


def test_the_doctor_exits_with_1_on_a_problem_and_says_what_to_do(clinic: Clinic) -> None:
    with wiring.open_workspace() as opened:
        opened.keeper.files.path(clinic.film.files[0]).unlink()
    done = run("doctor")
    assert done.exit_code == 1
    assert "1 missing" in done.stdout
    assert "Restore a backup" in done.stdout
    done = run("doctor", "--json")
    assert done.exit_code == 1
    assert document(done)["sound"] is False


def test_the_doctor_without_a_workspace_still_looks_at_the_installation() -> None:
    done = run("doctor")
    assert done.exit_code == 1
    assert "installation" in done.stdout
    assert "no workspace" in done.stdout


def test_repair_collects_old_orphans_only(clinic: Clinic) -> None:
    import os

    with wiring.open_workspace() as opened:
        files = opened.keeper.files
        old = files.path(files.put(b"left behind"))
        os.utime(old, (1_000_000, 1_000_000))
    found = document(run("doctor", "--repair", "--json"))
    assert (found["collected"], found["sound"]) == (1, True)
    assert not old.exists()
