"""Walking what a person points at: folders, archives, discs, single files."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from hipwright.adapters.archives.disc_index import files_named_by, is_disc_index
from hipwright.adapters.archives.limits import Limits
from hipwright.adapters.archives.printable import printable
from hipwright.adapters.archives.zip_files import ZIP_START, files_in_zip
from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Rejected
from hipwright.workflows.ports import FoundFile

IGNORED = {".DS_Store", "Thumbs.db", "desktop.ini", "autorun.inf"}
"""What computers leave behind by themselves: not worth a line in the list."""


@dataclass(frozen=True, slots=True)
class FileFinder:
    """Finds files. Links are not followed, special files are not opened."""

    limits: Limits = field(default_factory=Limits)

    def find(self, paths: Iterable[Path]) -> Iterator[FoundFile | Rejected]:
        """Every file under the given paths, in the order of their names, each once."""
        seen: set[tuple[int, int]] = set()
        for path in paths:
            if not os.path.lexists(path):
                yield Rejected(
                    file=printable(path.name), reason="There is no such file or folder."
                )
            elif path.is_dir():
                yield from self._folder(path.resolve(), path.name or str(path), seen, 0)
            elif is_disc_index(path):
                yield from self._disc(path, seen)
            else:
                yield from self._file(path.resolve(), path.name, seen)

    def _folder(
        self, folder: Path, shown: str, seen: set[tuple[int, int]], depth: int
    ) -> Iterator[FoundFile | Rejected]:
        try:
            entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
        except OSError as problem:
            yield Rejected(file=printable(shown), reason=_cannot_open(problem))
            return
        if depth > self.limits.folder_depth:
            yield Rejected(file=printable(shown), reason="Folders nested too deeply.")
            return
        for entry in entries:
            name = f"{shown}/{entry.name}"
            if entry.name in IGNORED:
                continue
            if entry.is_symlink():
                yield Rejected(file=printable(name), reason="A link: it was not followed.")
            elif entry.is_dir(follow_symlinks=False):
                yield from self._folder(Path(entry.path), name, seen, depth + 1)
            else:
                yield from self._file(Path(entry.path), name, seen)
        yield from self._missing(folder, entries, shown)

    def _missing(
        self, folder: Path, entries: list[os.DirEntry[str]], shown: str
    ) -> Iterator[Rejected]:
        """Files that a disc's table of contents names and that are not there."""
        for entry in entries:
            index = folder / entry.name
            if not is_disc_index(index) or not entry.is_file(follow_symlinks=False):
                continue
            try:
                named, _ = files_named_by(index)
            except ValueError:
                continue
            for path in named:
                if not path.exists():
                    place = path.relative_to(folder.resolve())
                    yield Rejected(
                        file=printable(f"{shown}/{place}"),
                        reason="The disc's table of contents names it, but it is not there.",
                    )

    def _disc(self, index: Path, seen: set[tuple[int, int]]) -> Iterator[FoundFile | Rejected]:
        try:
            named, outside = files_named_by(index)
        except ValueError as problem:
            yield Rejected(file=printable(index.name), reason=f"{str(problem).capitalize()}.")
            return
        if outside:
            yield Rejected(
                file=printable(index.name),
                reason=f"{outside} of its entries lie outside the disc.",
            )
        base = index.parent.resolve()
        for path in named:
            shown = str(path.relative_to(base)) if path.is_relative_to(base) else path.name
            if path.exists():
                yield from self._file(path, shown, seen)
            else:
                yield Rejected(
                    file=printable(shown),
                    reason="The disc's table of contents names it, but it is not there.",
                )

    def _file(
        self, path: Path, shown: str, seen: set[tuple[int, int]]
    ) -> Iterator[FoundFile | Rejected]:
        name = printable(shown)
        try:
            facts = path.lstat()
            if not stat.S_ISREG(facts.st_mode):
                yield Rejected(file=name, reason="A link or a special file.")
                return
            if (facts.st_dev, facts.st_ino) in seen:
                return
            seen.add((facts.st_dev, facts.st_ino))
            if facts.st_size > self.limits.file_bytes and path.suffix.lower() != ".zip":
                reason = f"Absurdly large: {facts.st_size / 1e9:.1f} GB."
                yield Rejected(file=name, reason=reason)
                return
            with path.open("rb") as stream:
                start = stream.read(4)
        except OSError as problem:
            yield Rejected(file=name, reason=_cannot_open(problem))
            return
        if start in ZIP_START:
            yield from files_in_zip(path, name=name, limits=self.limits)
        else:
            yield FoundFile(
                name=name,
                size=facts.st_size,
                read=lambda: _read(path, -1),
                head=lambda count: _read(path, count),
            )


def _read(path: Path, count: int) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(count)
    except OSError as problem:
        raise ImportRefusedError(_cannot_open(problem).rstrip(".")) from problem


def _cannot_open(problem: OSError) -> str:
    return f"It cannot be opened: {os.strerror(problem.errno or 0).lower()}."
