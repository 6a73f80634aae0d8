"""``hipwright add`` as a person and a script meet it."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from hipwright.apps.cli.main import app
from tests.dicom_makers import film, saved


@pytest.fixture(autouse=True)
def own_workspace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HIPWRIGHT_WORKSPACE", str(tmp_path / "workspace"))
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "config"))
    monkeypatch.setenv("HIPWRIGHT_KEY_FILE", str(tmp_path / "key"))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["add", *map(str, arguments)])


def test_an_import_prints_its_document_and_nothing_else(tmp_path: Path) -> None:
    path = saved(film(), tmp_path / "in" / "a.dcm")
    (tmp_path / "in" / "notes.txt").write_text("x")
    done = run(path.parent, "--side", "left", "--json")
    document = json.loads(done.stdout)
    assert done.exit_code == 0
    assert (document["format"], document["version"]) == ("hipwright.import", 1)
    assert document["cases"][0]["opened"] is True
    assert document["images"][0]["view"] == "pelvis_ap"
    assert document["rejected"][0]["file"].endswith("notes.txt")
    assert "Invented" not in done.stdout


def test_a_missing_side_says_which_flag_and_exits_with_1(tmp_path: Path) -> None:
    done = run(saved(film(), tmp_path / "a.dcm"))
    assert done.exit_code == 1
    assert "--side" in done.stderr
    assert done.stdout == ""


def test_with_json_a_refusal_is_the_error_document(tmp_path: Path) -> None:
    done = run(saved(film(), tmp_path / "a.dcm"), "--json")
    assert done.exit_code == 1
    assert json.loads(done.stdout)["error"]["field"] == "side"


def test_a_folder_without_pictures_exits_with_1_and_lists_why(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "notes.txt").write_text("x")
    done = run(tmp_path / "in", "--side", "left")
    assert done.exit_code == 1
    assert "Neither DICOM nor" in done.stderr


def test_a_person_reads_what_came_in(tmp_path: Path) -> None:
    done = run(saved(film(), tmp_path / "a.dcm"), "--side", "both", "--summary", "rower")
    assert done.exit_code == 0
    assert "AP pelvis, both: 1 film" in done.stdout
    assert done.stdout.count("(new)") == 2
