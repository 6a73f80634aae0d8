"""Backup to one file and back: whole, checked, all or nothing, and sealed."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import stat
import threading
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from hipwright import wiring
from hipwright.adapters.store.workspace_folder import DATABASE, FILES, IDENTITY
from hipwright.domain.errors import IdentityError, KeepingError, WorkspaceVersionError
from hipwright.domain.keeping import Identity
from hipwright.workflows.keep_workspace import RestoreReport, is_sound
from tests.contract.kept_bones import a_build, a_reading, some_edits
from tests.contract.kept_things import Clinic, a_clinic, a_grade, some_landmarks

PASSPHRASE = "four random plain words"  # noqa: S105 - a test


def quiet(what: str, done: int, total: int) -> None:
    """Report no progress."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A workspace with one clinic, on a machine of its own."""
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "machine"))
    path = tmp_path / "workspace"
    wiring.open_workspace(path, create=True).close()
    return path


@pytest.fixture
def clinic(folder: Path) -> Clinic:
    with wiring.open_workspace(folder) as opened:
        clinic = a_clinic(opened.keeper)
        opened.keeper.save_reading(clinic.case.id, some_landmarks(clinic.film), expected_version=0)
        opened.keeper.save_grade(a_grade(opened.keeper, clinic, "1"))
        opened.identity.save(somebody(clinic))
        return clinic


def somebody(clinic: Clinic) -> Identity:
    return Identity(
        person=clinic.person.id,
        name="Invented^Backup",
        numbers=("planted-31415",),
        birth_date=None,
        sex=None,
    )


def back_up(folder: Path, target: Path, passphrase: str | None = None) -> Path:
    with wiring.open_workspace(folder) as opened:
        wiring.back_up(opened, target, passphrase=passphrase, progress=quiet)
    return target


def restore(
    backup: Path,
    target: Path,
    ask: Callable[[], str | None] = lambda: None,
    url: str | None = None,
) -> RestoreReport:
    where = wiring.places(target, database_url=url)
    return wiring.restore(backup, where, ask_passphrase=ask, progress=quiet)


def assert_all_there(folder: Path, clinic: Clinic, url: str | None = None) -> None:
    with wiring.open_workspace(folder, database_url=url) as opened:
        keeper = opened.keeper
        assert keeper.case(clinic.case.code) == clinic.case
        assert keeper.person(clinic.person.id) == clinic.person
        assert keeper.image(clinic.film.id) == clinic.film
        assert all(keeper.get_file(digest) for digest in clinic.film.files)
        (reading,) = keeper.readings_of(clinic.film.id)
        assert reading.landmarks.points == some_landmarks(clinic.film).points
        assert [grade.value for grade in keeper.grades_of(clinic.case.id)] == ["1"]
        assert opened.identity.of(clinic.person.id) == somebody(clinic)
    where = wiring.places(folder, database_url=url)
    checks = wiring.check_up(where, quick=False, progress=quiet)
    assert is_sound(checks), checks


def test_a_workspace_comes_back_whole(folder: Path, clinic: Clinic, tmp_path: Path) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup")
    report = restore(backup, tmp_path / "restored")
    assert (report.files, report.damaged, report.key_is_here) == (1, 0, True)
    assert_all_there(tmp_path / "restored", clinic)
    assert_all_there(folder, clinic)
    if os.name != "nt":
        assert stat.S_IMODE((tmp_path / "restored").stat().st_mode) == 0o700
        assert stat.S_IMODE(backup.stat().st_mode) == 0o600


def test_no_backup_holds_a_readable_name_or_the_bare_key(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup", PASSPHRASE)
    with wiring.open_workspace(folder) as opened:
        secret = opened.identity.key.secret
    with zipfile.ZipFile(backup) as archive:
        content = b"".join(archive.read(name) for name in archive.namelist())
    for planted in (b"Invented^Backup", b"31415", secret, secret.hex().encode()):
        assert planted not in content


def test_on_another_machine_the_passphrase_brings_the_names_back(
    folder: Path, clinic: Clinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup", PASSPHRASE)
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "other machine"))
    with pytest.raises(IdentityError, match="another passphrase"):
        restore(backup, tmp_path / "wrong", lambda: "not the passphrase")
    assert not (tmp_path / "wrong").exists()
    report = restore(backup, tmp_path / "restored", lambda: PASSPHRASE)
    assert report.key_is_here
    assert_all_there(tmp_path / "restored", clinic)


def test_without_the_key_everything_but_the_names_comes_back(
    folder: Path, clinic: Clinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup")
    monkeypatch.setenv("HIPWRIGHT_CONFIG", str(tmp_path / "other machine"))
    report = restore(backup, tmp_path / "restored")
    assert (report.with_identity, report.key_is_here) == (True, False)
    with wiring.open_workspace(tmp_path / "restored") as opened:
        assert opened.keeper.case(clinic.case.code) == clinic.case
        with pytest.raises(IdentityError, match="the key that was made with this workspace"):
            opened.identity.of(clinic.person.id)


def test_where_the_key_is_nobody_is_asked_for_a_passphrase(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    def never() -> str:
        raise AssertionError

    backup = back_up(folder, tmp_path / "clinic.backup", PASSPHRASE)
    restore(backup, tmp_path / "restored", never)
    assert_all_there(tmp_path / "restored", clinic)


def test_a_backup_made_while_others_write_is_of_one_moment(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    enough = threading.Event()

    def write() -> None:
        with wiring.open_workspace(folder) as opened:
            while not enough.is_set():
                a_clinic(opened.keeper)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        backups = [back_up(folder, tmp_path / f"{n}.backup") for n in range(4)]
    finally:
        enough.set()
        writer.join()
    for n, backup in enumerate(backups):
        restore(backup, tmp_path / f"restored-{n}")
        assert_all_there(tmp_path / f"restored-{n}", clinic)


@pytest.mark.parametrize("occupied", ["file", "folder", "link"])
def test_restore_refuses_a_target_that_is_not_empty(
    folder: Path, clinic: Clinic, tmp_path: Path, occupied: str
) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup")
    target = tmp_path / "target"
    match occupied:
        case "file":
            target.write_text("mine")
        case "folder":
            target.mkdir()
            (target / "mine").write_text("mine")
        case _:
            (tmp_path / "elsewhere").mkdir()
            target.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(KeepingError, match="new or empty folder"):
        restore(backup, target)
    assert not list(tmp_path.glob(".target*"))
    (tmp_path / "empty").mkdir()
    restore(backup, tmp_path / "empty")


def test_a_backup_never_replaces_a_file_or_lies_in_the_workspace(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup")
    before = backup.read_bytes()
    for target in (backup, folder / "inside.backup", tmp_path / "no such folder" / "x"):
        with pytest.raises(KeepingError, match="cannot write the backup"):
            back_up(folder, target)
    assert backup.read_bytes() == before


def rewrite(backup: Path, target: Path, change: Callable[[dict[str, bytes]], object]) -> Path:
    """The same archive with other contents."""
    with zipfile.ZipFile(backup) as archive:
        contents = {name: archive.read(name) for name in archive.namelist()}
    change(contents)
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in contents.items():
            archive.writestr(name, content)
    return target


def edit_manifest(contents: dict[str, bytes], **changes: Any) -> dict[str, Any]:
    manifest = json.loads(contents["manifest.json"]) | changes
    contents["manifest.json"] = json.dumps(manifest).encode()
    return manifest


def smuggle(contents: dict[str, bytes], name: str) -> None:
    """Put a file in that the manifest promises too."""
    content = b"out of the folder"
    contents[name] = content
    entry = {"name": name, "size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    entries = json.loads(contents["manifest.json"])["entries"]
    edit_manifest(contents, entries=[*entries, entry])


def flip_a_pixel(contents: dict[str, bytes]) -> None:
    name = next(name for name in contents if name.startswith(FILES))
    contents[name] = bytes([contents[name][0] ^ 1]) + contents[name][1:]


def swap_an_image(contents: dict[str, bytes]) -> None:
    """Other pixels whose digest the manifest promises: the file's name tells."""
    name = next(name for name in contents if name.startswith(FILES))
    contents[name] = b"other pixels"
    entries = [e for e in json.loads(contents["manifest.json"])["entries"] if e["name"] != name]
    digest = hashlib.sha256(b"other pixels").hexdigest()
    edit_manifest(contents, entries=[*entries, {"name": name, "size": 12, "sha256": digest}])


def promise_less(contents: dict[str, bytes]) -> None:
    """A bomb: more bytes than the manifest promises."""
    entries = json.loads(contents["manifest.json"])["entries"]
    edit_manifest(contents, entries=[{**entry, "size": 3} for entry in entries])


def break_the_database(contents: dict[str, bytes]) -> None:
    broken = b"SQLite format 3\0" + b"x" * 5000
    contents[DATABASE] = broken
    entries = [
        e for e in json.loads(contents["manifest.json"])["entries"] if e["name"] != DATABASE
    ]
    entry = {"name": DATABASE, "size": 5016, "sha256": hashlib.sha256(broken).hexdigest()}
    edit_manifest(contents, entries=[entry, *entries])


@pytest.mark.parametrize(
    "damage",
    [
        flip_a_pixel,
        swap_an_image,
        promise_less,
        break_the_database,
        lambda contents: contents.pop(DATABASE),
        lambda contents: contents.pop("manifest.json"),
        lambda contents: contents.update({"manifest.json": b"[]"}),
        lambda contents: contents.update({"manifest.json": b"{"}),
        lambda contents: contents.update({"extra.txt": b"not promised"}),
        lambda contents: edit_manifest(contents, workspace="another"),
        lambda contents: edit_manifest(contents, format="something else"),
        lambda contents: smuggle(contents, "../evil"),
        lambda contents: smuggle(contents, "/evil"),
        lambda contents: smuggle(contents, f"{FILES}/../../evil"),
        lambda contents: smuggle(contents, f"{FILES}/ab/" + "cd" * 32),
        lambda contents: smuggle(contents, "workspace.json"),
        lambda contents: smuggle(contents, "C:\\evil"),
    ],
)
def test_a_backup_that_differs_from_its_manifest_restores_nothing(
    folder: Path, clinic: Clinic, tmp_path: Path, damage: Callable[[dict[str, bytes]], object]
) -> None:
    (tmp_path / "here").mkdir()
    backup = back_up(folder, tmp_path / "clinic.backup")
    damaged = rewrite(backup, tmp_path / "damaged.backup", damage)
    with pytest.raises(KeepingError):
        restore(damaged, tmp_path / "here" / "restored")
    assert list((tmp_path / "here").iterdir()) == []
    assert not list(tmp_path.rglob("evil"))


@pytest.mark.parametrize("kept", [0, 10, 0.5, 0.99])
def test_a_cut_off_backup_restores_nothing(
    folder: Path, clinic: Clinic, tmp_path: Path, kept: float
) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup")
    whole = backup.read_bytes()
    cut = tmp_path / "cut.backup"
    cut.write_bytes(whole[: int(kept * len(whole)) if kept < 1 else int(kept)])
    with pytest.raises(KeepingError, match="no backup, or only a part of one"):
        restore(cut, tmp_path / "restored")
    assert not (tmp_path / "restored").exists()


@pytest.mark.parametrize("changes", [{"version": 2}, {"schema": "9999"}])
def test_a_backup_by_a_newer_hipwright_is_refused(
    folder: Path, clinic: Clinic, tmp_path: Path, changes: dict[str, Any]
) -> None:
    backup = back_up(folder, tmp_path / "clinic.backup")
    newer = rewrite(backup, tmp_path / "newer", lambda found: edit_manifest(found, **changes))
    with pytest.raises(WorkspaceVersionError, match="newer hipwright"):
        restore(newer, tmp_path / "restored")


def test_a_damaged_file_does_not_keep_the_rest_from_being_backed_up(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    with wiring.open_workspace(folder) as opened:
        opened.keeper.files.path(clinic.film.files[0]).unlink()
        report = wiring.back_up(opened, tmp_path / "b", passphrase=None, progress=quiet)
    assert (report.files, report.damaged) == (0, 1)
    restored = restore(tmp_path / "b", tmp_path / "restored")
    assert restored.damaged == 1
    with wiring.open_workspace(tmp_path / "restored") as opened:
        assert opened.keeper.case(clinic.case.code) == clinic.case


def test_a_backup_that_cannot_be_finished_leaves_no_file(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    def full(what: str, done: int, total: int) -> None:
        if what == "copying files":
            raise OSError(28, "No space left on device")

    (tmp_path / "here").mkdir()
    with (
        wiring.open_workspace(folder) as opened,
        pytest.raises(KeepingError, match="full disk"),
    ):
        wiring.back_up(opened, tmp_path / "here" / "b", passphrase=None, progress=full)
    assert list((tmp_path / "here").iterdir()) == []


def test_a_workspace_moves_from_sqlite_to_postgresql_and_back(
    folder: Path, clinic: Clinic, tmp_path: Path, postgresql_url: str
) -> None:
    backup = back_up(folder, tmp_path / "one.backup")
    restore(backup, tmp_path / "on postgresql", url=postgresql_url)
    assert not (tmp_path / "on postgresql" / DATABASE).exists()
    assert_all_there(tmp_path / "on postgresql", clinic, postgresql_url)
    with wiring.open_workspace(tmp_path / "on postgresql", database_url=postgresql_url) as opened:
        wiring.back_up(opened, tmp_path / "two.backup", passphrase=None, progress=quiet)
    restore(tmp_path / "two.backup", tmp_path / "back")
    assert_all_there(tmp_path / "back", clinic)
    assert rows(tmp_path / "back") == rows(folder)
    with pytest.raises(KeepingError, match="an empty database"):
        restore(backup, tmp_path / "again", url=postgresql_url)
    assert not (tmp_path / "again").exists()


def rows(folder: Path) -> dict[str, list[Any]]:
    """Every row of every table of ours."""
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        tables = [
            r[0] for r in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
        ]
        return {t: sorted(connection.execute(f"SELECT * FROM {t}"), key=str) for t in tables}  # noqa: S608 - names of our own


def test_nothing_of_a_planted_identity_is_readable_in_any_byte_of_the_workspace(
    folder: Path, clinic: Clinic
) -> None:
    for planted in (b"Invented^Backup", b"planted-31415", b"31415"):
        for path in folder.rglob("*"):
            if path.is_file():
                assert planted not in path.read_bytes(), path
    assert (folder / IDENTITY).is_file()


def test_bones_their_surfaces_labels_and_edits_come_back_from_a_backup(
    folder: Path, clinic: Clinic, tmp_path: Path
) -> None:
    with wiring.open_workspace(folder) as opened:
        build = opened.keeper.add_bone_build(a_build(opened.keeper, clinic))
        reading = opened.keeper.save_bone_reading(
            a_reading(opened.keeper, build), expected_version=0
        )
        edits = some_edits(opened.keeper, clinic, b"later edits", expected_version=0)
    backup = back_up(folder, tmp_path / "whole.zip")
    restore(backup, tmp_path / "back")
    with wiring.open_workspace(tmp_path / "back") as opened:
        keeper = opened.keeper
        assert keeper.bone_build(build.id) == build
        assert list(keeper.bone_readings_of(build.id)) == [reading]
        assert keeper.label_edits_of(clinic.film.id) == edits
        surfaces = [keeper.get_file(bone.surface_file) for bone in build.bones]
        assert surfaces == [b"femur", b"knee"]
        assert keeper.get_file(build.labels_file) == b"labels"
        assert keeper.get_file(build.edits_file) == b"edits"
        assert keeper.get_file(edits.edits_file) == b"later edits"
