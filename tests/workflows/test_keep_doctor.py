"""The doctor finds what is broken, says what to do, and changes nothing unasked."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from hipwright import wiring
from hipwright.adapters.store.append_only import trigger_names
from hipwright.adapters.store.image_files import ImageFiles
from hipwright.adapters.store.orphans import GRACE_S, collect
from hipwright.adapters.store.workspace_folder import DATABASE, FILES, IDENTITY, MARK
from hipwright.domain.errors import KeepingError
from hipwright.domain.keeping import Identity
from hipwright.workflows.keep_workspace import Check, CheckState, examine, problem
from tests.contract.kept_bones import a_build, some_edits
from tests.contract.kept_things import Clinic, a_clinic, a_film


def quiet(what: str, done: int, total: int) -> None:
    """Report no progress."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "machine"))
    path = tmp_path / "workspace"
    wiring.open_workspace(path, create=True).close()
    return path


@pytest.fixture
def clinic(folder: Path) -> Clinic:
    with wiring.open_workspace(folder) as opened:
        clinic = a_clinic(opened.keeper)
        opened.identity.save(
            Identity(
                person=clinic.person.id, name="Invented", numbers=("1",), birth_date=None, sex=None
            )
        )
        return clinic


def look(folder: Path, *, quick: bool = False) -> dict[str, Check]:
    checks = wiring.check_up(wiring.places(folder), quick=quick, progress=quiet)
    return {check.about: check for check in checks}


def problems(folder: Path) -> dict[str, Check]:
    found = look(folder)
    return {about: c for about, c in found.items() if c.state is CheckState.PROBLEM}


def test_a_sound_workspace_has_no_problem(folder: Path, clinic: Clinic) -> None:
    found = look(folder)
    assert problems(folder) == {}
    assert {"installation", "packages", "workspace", "schema", "database", "files"} <= set(found)
    assert "1 people, 1 cases, 1 images" in found["database"].told
    assert "opens every record" in found["identity"].told


def test_every_problem_says_what_to_do(folder: Path, clinic: Clinic) -> None:
    ImageFiles(folder / FILES).path(clinic.film.files[0]).unlink()
    (folder / IDENTITY).write_bytes(b"rubbish" * 1000)
    found = problems(folder)
    assert set(found) == {"files", "identity"}
    assert all(check.next_step for check in found.values())


def test_a_missing_file_is_found_even_quickly(folder: Path, clinic: Clinic) -> None:
    ImageFiles(folder / FILES).path(clinic.film.files[0]).unlink()
    assert "1 missing and 0 damaged of 1" in look(folder, quick=True)["files"].told


def test_a_changed_byte_in_a_file_is_found_unless_quick(folder: Path, clinic: Clinic) -> None:
    path = ImageFiles(folder / FILES).path(clinic.film.files[0])
    content = bytearray(path.read_bytes())
    content[0] ^= 1
    path.chmod(0o600)
    path.write_bytes(content)
    assert "0 missing and 1 damaged of 1" in problems(folder)["files"].told
    assert look(folder, quick=True)["files"].state is CheckState.OK


def test_a_damaged_database_is_found(folder: Path, clinic: Clinic) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray((folder / DATABASE).read_bytes())
    for page in range(5, len(content) // 4096):
        content[page * 4096 : page * 4096 + 64] = b"\xff" * 64
    (folder / DATABASE).write_bytes(content)
    assert {"database"} <= set(problems(folder))


@pytest.mark.parametrize("table", ["hip_case_version", "image_file", "image_version"])
def test_a_half_case_or_image_is_found(folder: Path, clinic: Clinic, table: str) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        for trigger in trigger_names(table):
            connection.execute(f"DROP TRIGGER {trigger}")
        connection.execute(f"DELETE FROM {table}")  # noqa: S608 - a name of ours
        connection.commit()
    found = problems(folder)
    assert "without their versions or files" in found["rows"].told
    assert "is missing" in found["schema"].told


def test_a_workspace_of_a_newer_version_is_told(folder: Path) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    assert "Update hipwright" in problems(folder)["schema"].next_step


def test_an_older_workspace_is_told_but_not_brought_up_to_date(folder: Path) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        connection.execute("DELETE FROM alembic_version")
        connection.commit()
    before = (folder / DATABASE).stat().st_size
    assert "current is" in problems(folder)["schema"].told
    assert (folder / DATABASE).stat().st_size == before


def test_a_missing_key_is_told(folder: Path, clinic: Clinic, tmp_path: Path) -> None:
    (tmp_path / "machine" / "identity-keys").unlink()
    found = problems(folder)
    assert set(found) == {"identity"}
    assert "Bring the key" in found["identity"].next_step


@pytest.mark.skipif(os.name == "nt", reason="Windows has other permissions")
def test_a_folder_or_key_that_others_may_read_is_told(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    folder.chmod(0o755)
    (tmp_path / "machine" / "identity-keys").chmod(0o640)
    found = problems(folder)
    assert "chmod 700" in found["permissions"].next_step
    assert "chmod 600" in found["identity key"].next_step


def test_no_workspace_and_no_database_are_told_without_making_one(
    folder: Path, tmp_path: Path
) -> None:
    assert "no workspace in" in problems(tmp_path / "nowhere")["workspace"].told
    (folder / DATABASE).unlink()
    assert "is not in the folder" in problems(folder)["database"].told
    assert not (folder / DATABASE).exists()
    (folder / MARK).write_text("{")
    assert "no longer readable" in problems(folder)["workspace"].told


def test_an_examination_that_fails_is_a_problem_and_the_others_go_on() -> None:
    def fail() -> list[Check]:
        raise KeepingError("cannot look", found="nothing", next_step="Look again.")

    checks = examine([("one", fail), ("two", lambda: [problem("two", "bad", "mend it")])])
    assert [(c.about, c.told, c.next_step) for c in checks] == [
        ("one", "cannot look: nothing", "Look again."),
        ("two", "bad", "mend it"),
    ]


def test_orphans_are_notes_and_only_old_ones_are_collected(folder: Path, clinic: Clinic) -> None:
    files = ImageFiles(folder / FILES)
    young, old = files.put(b"an import that runs"), files.put(b"an import that was cut off")
    part = files.path(old).with_suffix(".part")
    part.write_bytes(b"half")
    long_ago = files.path(young).stat().st_mtime - GRACE_S - 60
    for path in (files.path(old), part):
        os.utime(path, (long_ago, long_ago))
    found = look(folder)
    assert problems(folder) == {}
    assert found["unfinished imports"].state is CheckState.NOTE
    assert found["unfinished imports"].told.startswith("1 files")
    assert "hipwright doctor --repair" in found["orphans"].next_step
    assert found["orphans"].told.startswith("2 files")
    with wiring.open_workspace(folder) as opened:
        assert wiring.collect_orphans(opened) == 2
    assert files.has(young)
    assert not files.has(old)
    assert files.has(clinic.film.files[0])
    assert "orphans" not in look(folder)


def test_an_import_whose_files_were_collected_meanwhile_is_refused_not_half_kept(
    folder: Path, clinic: Clinic
) -> None:
    with wiring.open_workspace(folder) as opened:
        keeper = opened.keeper
        film = a_film(keeper, clinic.study, b"put", b"before")
        now = keeper.now().timestamp()
        assert collect(keeper.transactions.engine, keeper.files, now=now, grace_s=-1) == 2
        with pytest.raises(KeepingError, match="2 of its 2 files not in the workspace"):
            keeper.add_image(film)
        again = replace(film, files=tuple(keeper.put_file(c) for c in (b"put", b"before")))
        keeper.add_image(again)
        assert collect(keeper.transactions.engine, keeper.files, now=now, grace_s=-1) == 0


def test_files_of_bones_are_checked_and_never_collected(folder: Path, clinic: Clinic) -> None:
    with wiring.open_workspace(folder) as opened:
        keeper = opened.keeper
        build = keeper.add_bone_build(a_build(keeper, clinic))
        edits = some_edits(keeper, clinic, b"later edits", expected_version=0)
        now = keeper.now().timestamp()
        assert collect(keeper.transactions.engine, keeper.files, now=now, grace_s=-1) == 0
    kept = [b.surface_file for b in build.bones]
    kept += [build.labels_file, build.edits_file, edits.edits_file]
    assert look(folder)["files"].told.startswith(f"{len(kept) + 1} present")
    for number, digest in enumerate(kept, start=1):
        ImageFiles(folder / FILES).path(digest).unlink()
        assert f"{number} missing" in look(folder, quick=True)["files"].told


def test_a_build_whose_files_were_collected_meanwhile_is_refused_not_half_kept(
    folder: Path, clinic: Clinic
) -> None:
    with wiring.open_workspace(folder) as opened:
        keeper = opened.keeper
        build = a_build(keeper, clinic)
        now = keeper.now().timestamp()
        collect(keeper.transactions.engine, keeper.files, now=now, grace_s=-1)
        with pytest.raises(KeepingError, match="4 of its 4 files not in the workspace"):
            keeper.add_bone_build(build)
        assert list(keeper.bone_builds_of(clinic.person.id)) == []


def test_a_build_without_its_bones_is_found(folder: Path, clinic: Clinic) -> None:
    with wiring.open_workspace(folder) as opened:
        opened.keeper.add_bone_build(a_build(opened.keeper, clinic))
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        for trigger in trigger_names("kept_bone"):
            connection.execute(f"DROP TRIGGER {trigger}")
        connection.execute("DELETE FROM kept_bone")
        connection.commit()
    assert "without their versions or files" in problems(folder)["rows"].told


def test_a_workspace_from_before_bones_is_checked_as_it_is(folder: Path, clinic: Clinic) -> None:
    before_bones(folder)
    found = look(folder)
    assert set(problems(folder)) == {"schema"}
    assert "tables of version 0001" in found["schema"].told
    assert found["files"].told.startswith("1 present")
    with wiring.open_workspace(folder) as opened:
        opened.keeper.add_bone_build(a_build(opened.keeper, clinic))
    assert problems(folder) == {}


def before_bones(folder: Path) -> None:
    """Make the tables those of version 0001, as an older hipwright left them."""
    later = (
        "bone_reading_version bone_reading kept_bone bone_build_image bone_build label_edits "
        "job_event job"
    )
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        for table in later.split():
            connection.execute(f"DROP TABLE {table}")
        connection.execute("UPDATE alembic_version SET version_num = '0001'")
        connection.commit()
