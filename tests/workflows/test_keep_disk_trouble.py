"""A full disk, a read-only disk and a second writer: told plainly, nothing half-written."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

import pytest

from hipwright.adapters.store.image_files import ImageFiles
from hipwright.adapters.store.workspace_folder import DATABASE, FILES
from hipwright.domain.errors import KeepingError, StaleWriteError, WorkspaceBusyError
from hipwright.wiring import check_up, open_workspace, places
from hipwright.workflows.keep_workspace import is_sound
from tests.contract.kept_things import a_clinic, a_person, some_landmarks

MEGABYTES = 3
FREED = 10  # files of 50 kB: what the database may take to go on, with its log of changes


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own, of a few megabytes."""
    disk = tmp_path / "disk"
    disk.mkdir()
    options = ["-t", "tmpfs", "-o", f"size={MEGABYTES}m,mode=700", "none", str(disk)]
    if os.name == "nt" or os.geteuid() != 0:
        pytest.skip("a small disk can be mounted by root on Linux only")
    if subprocess.run(["mount", *options], check=False, capture_output=True).returncode != 0:
        pytest.skip("this machine lets nobody mount a small disk")
    try:
        yield disk
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


def assert_sound(folder: Path) -> None:
    checks = check_up(places(folder), quick=False, progress=lambda *_: None)
    assert is_sound(checks), checks


def for_ever(do: Callable[[], None]) -> NoReturn:
    while True:
        do()


def test_a_full_disk_refuses_files_and_readings_and_loses_nothing(small_disk: Path) -> None:
    folder = small_disk / "workspace"
    kept: list[str] = []
    with open_workspace(folder, create=True) as opened:
        clinic = a_clinic(opened.keeper)
        version = 0

        def fill() -> None:
            kept.append(opened.keeper.put_file(os.urandom(50_000)))

        with pytest.raises(KeepingError, match="full disk"):
            for_ever(fill)
        assert opened.keeper.files.parts() == []

        def save() -> None:
            nonlocal version
            moved = some_landmarks(clinic.film, x_px=float(version))
            opened.keeper.save_reading(clinic.case.id, moved, expected_version=version)
            version += 1

        with pytest.raises(KeepingError, match="full disk"):
            for_ever(save)
        for digest in kept[:FREED]:
            opened.keeper.files.path(digest).unlink()
    with open_workspace(folder) as opened:
        history = opened.keeper.reading_history(clinic.film.id, "human:obs-1", 1)
        assert [r.version for r in history] == list(range(1, version + 1))
        assert all(opened.keeper.get_file(digest) for digest in kept[FREED:])
        again = some_landmarks(clinic.film, x_px=0.5)
        opened.keeper.save_reading(clinic.case.id, again, expected_version=version)
    assert_sound(folder)


def test_a_workspace_cannot_be_made_on_a_full_disk(small_disk: Path) -> None:
    (small_disk / "filler").write_bytes(b"x" * (MEGABYTES * 1_000_000 + 120_000))
    with pytest.raises(KeepingError, match="full disk"):
        open_workspace(small_disk / "workspace", create=True)
    (small_disk / "filler").unlink()
    open_workspace(small_disk / "workspace", create=True).close()
    assert_sound(small_disk / "workspace")


def test_a_read_only_disk_is_told_with_what_to_do(small_disk: Path) -> None:
    folder = small_disk / "workspace"
    with open_workspace(folder, create=True) as opened:
        clinic = a_clinic(opened.keeper)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(KeepingError, match="cannot be written"):
        ImageFiles(folder / FILES).put(b"new")
    assert ImageFiles(folder / FILES).get(clinic.film.files[0])
    with pytest.raises(KeepingError, match="whether its disk is read-only"):
        open_workspace(folder)
    with pytest.raises(KeepingError, match="--workspace"):
        open_workspace(small_disk / "other", create=True)
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    assert_sound(folder)


def test_a_second_writer_is_told_that_the_workspace_is_busy(tmp_path: Path) -> None:
    folder = tmp_path / "workspace"
    with open_workspace(folder, create=True, busy_timeout_s=0.1) as opened:
        clinic = a_clinic(opened.keeper)
        with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(WorkspaceBusyError, match="then try again: nothing was lost"):
                opened.keeper.add_person(a_person(opened.keeper))
            assert opened.keeper.case(clinic.case.code) == clinic.case
            other.execute("ROLLBACK")
        opened.keeper.add_person(a_person(opened.keeper))


def test_a_second_writer_on_postgresql_is_told_that_the_workspace_is_busy(
    tmp_path: Path, postgresql_url: str
) -> None:
    with open_workspace(
        tmp_path / "w", create=True, database_url=postgresql_url, busy_timeout_s=0.1
    ) as opened:
        clinic = a_clinic(opened.keeper)
        told: list[BaseException] = []

        def second() -> None:
            try:
                changed = replace(clinic.case, summary="second")
                opened.keeper.change_case(changed, expected_version=1)
            except WorkspaceBusyError as error:
                told.append(error)

        with opened.keeper.transaction():
            changed = replace(clinic.case, summary="first")
            opened.keeper.change_case(changed, expected_version=1)
            thread = threading.Thread(target=second)
            thread.start()
            thread.join()
        assert len(told) == 1
        assert opened.keeper.case(clinic.case.id).summary == "first"


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_of_many_who_change_one_thing_at_once_one_wins_and_all_others_are_told(
    tmp_path: Path, request: pytest.FixtureRequest, database: str
) -> None:
    url = request.getfixturevalue("postgresql_url") if database == "postgresql" else None
    with open_workspace(tmp_path / "w", create=True, database_url=url) as opened:
        clinic = a_clinic(opened.keeper)
        won: list[str] = []
        stale: list[StaleWriteError] = []

        def change(name: str) -> None:
            try:
                changed = replace(clinic.case, summary=name)
                opened.keeper.change_case(changed, expected_version=1)
                won.append(name)
            except StaleWriteError as error:
                stale.append(error)

        threads = [threading.Thread(target=change, args=(f"writer {n}",)) for n in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert (len(won), len(stale)) == (1, 5)
        assert opened.keeper.case(clinic.case.id).summary == won[0]
        assert {getattr(error.kept, "summary", None) for error in stale} == set(won)


def test_reading_goes_on_while_somebody_writes(tmp_path: Path) -> None:
    with open_workspace(tmp_path / "w", create=True, busy_timeout_s=0.1) as opened:
        clinic = a_clinic(opened.keeper)
        seen: list[int] = []

        def look() -> None:
            seen.append(len(opened.keeper.persons()))
            opened.keeper.put_file(b"an import keeps its files without the database")

        with opened.keeper.transaction():
            opened.keeper.add_person(a_person(opened.keeper))
            thread = threading.Thread(target=look)
            thread.start()
            thread.join()
        assert seen == [1]
        assert len(opened.keeper.persons()) == 2
        assert opened.keeper.case(clinic.case.id)
