"""Finding files without trusting their names, sizes or links."""

import os
import socket
import struct
import zipfile
from collections.abc import Iterable
from pathlib import Path

import pydicom.data
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hipwright.adapters.archives.finder import FileFinder
from hipwright.adapters.archives.limits import Limits
from hipwright.adapters.archives.printable import printable
from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Rejected
from hipwright.workflows.ports import FoundFile

TIGHT = Limits(
    file_bytes=100_000, archive_bytes=400_000, archive_entries=50, suspicious_from_bytes=10_000
)
DISC = Path(pydicom.data.__file__).parent / "test_files" / "dicomdirtests"


def sorted_out(
    found: Iterable[FoundFile | Rejected],
) -> tuple[dict[str, FoundFile], dict[str, str]]:
    files: dict[str, FoundFile] = {}
    rejected: dict[str, str] = {}
    for one in found:
        if isinstance(one, Rejected):
            rejected[one.file] = one.reason
        else:
            files[one.name] = one
    return files, rejected


def find(*paths: Path, limits: Limits = TIGHT) -> tuple[dict[str, FoundFile], dict[str, str]]:
    return sorted_out(FileFinder(limits).find(paths))


def zipped(
    path: Path, entries: dict[str, bytes], *, compression: int = zipfile.ZIP_STORED
) -> Path:
    with zipfile.ZipFile(path, "w", compression) as out:
        for name, content in entries.items():
            out.writestr(name, content)
    return path


def test_a_folder_is_walked_to_its_depths_in_the_order_of_names(tmp_path: Path) -> None:
    for name in ("b/2", "a/x/1", "a/0"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(name.encode())
    files, rejected = find(tmp_path)
    assert [one.read() for one in files.values()] == [b"a/0", b"a/x/1", b"b/2"]
    assert rejected == {}


def test_a_file_named_twice_is_read_once(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"1")
    files, _ = find(tmp_path, tmp_path / "a", tmp_path)
    assert len(files) == 1


def test_links_are_not_followed_so_that_loops_end(tmp_path: Path) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (inside / "loop").symlink_to(tmp_path)
    (inside / "secret").symlink_to("/etc/hostname")
    files, rejected = find(tmp_path)
    assert files == {}
    assert all("link" in reason for reason in rejected.values())
    assert len(rejected) == 2


def test_special_files_are_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(tmp_path / "s"))
        files, rejected = find(tmp_path)
    assert files == {}
    assert len(rejected) == 2


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_permission_is_told(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"1")
    (tmp_path / "a").chmod(0)
    _, rejected = find(tmp_path)
    assert "cannot be opened" in next(iter(rejected.values()))


def test_a_path_that_is_not_there_is_told(tmp_path: Path) -> None:
    _, rejected = find(tmp_path / "nothing")
    assert rejected == {"nothing": "There is no such file or folder."}


def test_folders_nested_without_end_are_told(tmp_path: Path) -> None:
    deep = tmp_path.joinpath(*"abcdefgh")
    deep.mkdir(parents=True)
    _, rejected = find(tmp_path, limits=Limits(folder_depth=3))
    assert "nested too deeply" in next(iter(rejected.values()))


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(min_size=1, max_size=60).filter(lambda b: b"/" not in b and b"\0" not in b))
def test_a_file_of_any_name_is_found_and_shown_safely(tmp_path: Path, name: bytes) -> None:
    if name in {b".", b".."}:
        return
    folder = Path(os.fsdecode(os.path.join(os.fsencode(tmp_path), b"f")))  # noqa: PTH118 - bytes no Path can hold
    folder.mkdir(exist_ok=True)
    path = os.path.join(os.fsencode(folder), name)  # noqa: PTH118 - bytes no Path can hold
    with open(path, "wb") as out:  # noqa: PTH123 - bytes no Path can hold
        out.write(b"content")
    files, rejected = find(folder)
    contents = [file.read() for file in files.values()]
    os.unlink(path)  # noqa: PTH108 - bytes no Path can hold
    assert not rejected
    assert contents == [b"content"]
    for shown in files:
        assert shown.isprintable() or " " in shown or "\u3000" in shown
        shown.encode("utf-8")
        assert "\x1b" not in shown
        assert "\u202e" not in shown


def test_long_names_are_shown_by_their_end() -> None:
    assert printable("a" * 500 + ".dcm").endswith(".dcm")
    assert len(printable("a" * 500)) == 120


@pytest.mark.parametrize(
    "name", ["../../evil", "/etc/evil", "a/../../evil", "..\\..\\evil", "C:\\evil", "\\evil"]
)
def test_a_zip_entry_that_points_outside_is_turned_away(tmp_path: Path, name: str) -> None:
    archive = zipped(tmp_path / "a.zip", {name: b"x", "good": b"y"})
    before = set(tmp_path.rglob("*"))
    files, rejected = find(archive)
    assert [one.read() for one in files.values()] == [b"y"]
    assert "points outside" in next(iter(rejected.values()))
    assert set(tmp_path.rglob("*")) == before  # nothing is ever unpacked to a path


def test_a_zip_that_unpacks_without_measure_is_turned_away(tmp_path: Path) -> None:
    archive = zipped(
        tmp_path / "a.zip", {"bomb": b"\0" * 90_000}, compression=zipfile.ZIP_DEFLATED
    )
    _, rejected = find(archive)
    assert "times over" in next(iter(rejected.values()))


def test_a_zip_that_is_too_large_in_all_is_turned_away(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "a.zip", {f"{i}": b"x" * 50_000 for i in range(10)})
    files, rejected = find(archive)
    assert files == {}
    assert "would unpack" in rejected["a.zip"]


def test_a_zip_with_countless_entries_is_turned_away(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "a.zip", {f"{i}": b"" for i in range(60)})
    assert "60 entries" in find(archive)[1]["a.zip"]


def test_an_entry_that_lies_about_its_size_is_cut_and_refused(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "a.zip", {"liar": b"\0" * 9_000}, compression=zipfile.ZIP_DEFLATED)
    content = archive.read_bytes().replace(struct.pack("<I", 9_000), struct.pack("<I", 50))
    archive.write_bytes(content)
    files, rejected = find(archive)
    assert files == {}
    assert "Damaged" in next(iter(rejected.values()))


def test_a_locked_zip_says_so(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "a.zip", {"locked": b"x"})
    content = bytearray(archive.read_bytes())
    for sign, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        content[content.index(sign) + offset] |= 1
    archive.write_bytes(bytes(content))
    assert "password" in next(iter(find(archive)[1].values()))


def test_a_link_inside_a_zip_is_turned_away(tmp_path: Path) -> None:
    archive = tmp_path / "a.zip"
    with zipfile.ZipFile(archive, "w") as out:
        entry = zipfile.ZipInfo("link")
        entry.external_attr = 0o120777 << 16
        out.writestr(entry, "/etc/passwd")
    assert "link" in next(iter(find(archive)[1].values()))


def test_archives_inside_archives_are_opened_but_not_without_end(tmp_path: Path) -> None:
    content, inner = b"innermost", tmp_path
    for level in range(5):
        inner = zipped(tmp_path / f"{level}.zip", {f"level{level}": content})
        content = inner.read_bytes()
        if level == 2:
            files, rejected = find(inner)
            assert [one.read() for one in files.values()] == [b"innermost"]
            assert rejected == {}
    _, rejected = find(inner)
    assert "inside archives" in next(iter(rejected.values()))


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 400), st.integers(0, 255))
def test_a_damaged_zip_never_crashes(tmp_path: Path, place: int, value: int) -> None:
    archive = zipped(
        tmp_path / "a.zip", {"a": b"x" * 300, "b/c": b"y"}, compression=zipfile.ZIP_DEFLATED
    )
    content = bytearray(archive.read_bytes())
    content[place % len(content)] = value
    archive.write_bytes(bytes(content))
    files, _ = find(archive)
    for file in files.values():
        try:
            file.read()
        except ImportRefusedError:
            continue


def test_a_broken_entry_is_refused_not_guessed(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "a.zip", {"a": b"x" * 500})
    content = archive.read_bytes().replace(b"x" * 500, b"y" * 500)
    archive.write_bytes(content)
    files, rejected = find(archive)
    for file in files.values():
        with pytest.raises(ImportRefusedError):
            file.read()
    assert files or "Damaged" in next(iter(rejected.values()))


def test_a_disc_gives_the_files_its_index_names() -> None:
    # pydicom's own disc: 31 images (its README), among three patients' folders.
    files, rejected = find(DISC / "DICOMDIR", limits=Limits())
    assert len(files) == 31
    assert rejected == {}
    assert all("/" in name for name in files)


def test_files_that_a_disc_names_and_lacks_are_told(tmp_path: Path) -> None:
    (tmp_path / "DICOMDIR").write_bytes((DISC / "DICOMDIR").read_bytes())
    for path in (tmp_path / "DICOMDIR", tmp_path):
        _, rejected = find(path)
        missing = [reason for reason in rejected.values() if "not there" in reason]
        assert len(missing) == 31


def test_a_damaged_index_is_told(tmp_path: Path) -> None:
    (tmp_path / "DICOMDIR").write_bytes(b"\0" * 128 + b"DICM" + b"\x02\x00\x99")
    files, _ = find(tmp_path / "DICOMDIR")
    assert files == {}


def test_what_computers_leave_behind_is_passed_over(tmp_path: Path) -> None:
    (tmp_path / ".DS_Store").write_bytes(b"1")
    (tmp_path / "Thumbs.db").write_bytes(b"1")
    assert find(tmp_path) == ({}, {})


def test_an_absurdly_large_file_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "huge").open("wb") as out:
        out.truncate(200_000)
    assert "Absurdly large" in next(iter(find(tmp_path)[1].values()))
