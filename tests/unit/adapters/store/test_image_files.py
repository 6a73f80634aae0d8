"""Stored files: complete or absent, whatever the disk does."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import threading
from pathlib import Path

import pytest

from hipwright.adapters.store.image_files import ImageFiles
from hipwright.domain.errors import KeepingError, NotFoundError


@pytest.fixture
def files(tmp_path: Path) -> ImageFiles:
    (tmp_path / "files").mkdir()
    return ImageFiles(tmp_path / "files")


def test_a_file_lies_under_its_digest_and_is_read_only(files: ImageFiles) -> None:
    digest = files.put(b"pixels")
    path = files.folder / digest[:2] / digest
    assert path.read_bytes() == b"pixels"
    assert digest == hashlib.sha256(b"pixels").hexdigest()
    assert stat.S_IMODE(path.stat().st_mode) == stat.S_IRUSR
    assert list(files.digests()) == [digest]


@pytest.mark.parametrize("failing", ["open", "fsync", "write", "rename", "chmod"])
@pytest.mark.parametrize(
    ("number", "told"),
    [
        (errno.ENOSPC, "full disk"),
        (errno.EDQUOT, "full disk"),
        (errno.EROFS, "cannot be written"),
        (errno.EACCES, "cannot be written"),
        (errno.EIO, "a disk that answers"),
    ],
)
def test_a_disk_that_fails_leaves_nothing_half_written(
    files: ImageFiles, monkeypatch: pytest.MonkeyPatch, failing: str, number: int, told: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    class Full:
        """A file whose writes fail."""

        def __init__(self, handle: int, _: str) -> None:
            self.handle = handle

        def __enter__(self) -> Full:
            return self

        def __exit__(self, *_: object) -> None:
            os.close(self.handle)

        write = fail

    with monkeypatch.context() as patch:
        match failing:
            case "open":
                patch.setattr(os, "open", fail)
            case "fsync":
                patch.setattr(os, "fsync", fail)
            case "write":
                patch.setattr(os, "fdopen", Full)
            case "rename":
                patch.setattr(Path, "replace", fail)
            case _:
                patch.setattr(Path, "chmod", fail)
        with pytest.raises(KeepingError, match=told) as refusal:
            files.put(b"pixels")
    assert str(files.folder) not in str(refusal.value)
    assert list(files.digests()) == files.parts() == []
    assert files.has(files.put(b"pixels"))


def test_a_damaged_file_is_not_handed_out_but_can_be_kept_anew(files: ImageFiles) -> None:
    digest = files.put(b"pixels")
    path = files.path(digest)
    path.chmod(0o600)
    path.write_bytes(b"pixelS")
    with pytest.raises(KeepingError, match="other bytes than were stored"):
        files.get(digest)
    path.write_bytes(b"pix")
    assert files.put(b"pixels") == digest
    assert files.get(digest) == b"pixels"


@pytest.mark.parametrize("digest", ["", "..", "../../x", "A" * 64, "0" * 63, "0" * 64, "\0" * 64])
def test_what_is_no_digest_names_no_file(files: ImageFiles, digest: str) -> None:
    with pytest.raises(NotFoundError):
        files.get(digest)


def test_keeping_a_file_again_makes_it_young(files: ImageFiles) -> None:
    path = files.path(files.put(b"pixels"))
    os.utime(path, (1000, 1000))
    files.put(b"pixels")
    assert files.age_s(path, path.stat().st_mtime) == 0
    assert path.stat().st_mtime > 1000


def test_many_threads_that_keep_one_file_keep_one(files: ImageFiles) -> None:
    content = os.urandom(200_000)
    threads = [threading.Thread(target=files.put, args=(content,)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert list(files.digests()) == [hashlib.sha256(content).hexdigest()]
    assert files.parts() == []
