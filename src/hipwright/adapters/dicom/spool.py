"""A temporary file for what has been read and not yet kept.

Only de-identified bytes go in. The file has no name and is gone with the process.
"""

from __future__ import annotations

import tempfile
import weakref
from collections.abc import Sequence
from typing import overload

IN_MEMORY_BYTES = 64 * 1024 * 1024
"""A few films stay in memory; a long series goes to disk."""


class Spool:
    """Takes contents one after another and hands each back when asked."""

    def __init__(self) -> None:
        self._file = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY_BYTES)  # noqa: SIM115 - closed by the line below
        self._end = 0
        weakref.finalize(self, self._file.close)

    def put(self, content: bytes) -> tuple[int, int]:
        """Take a content; the answer is its place."""
        place = (self._end, len(content))
        self._file.seek(self._end)
        self._file.write(content)
        self._end += len(content)
        return place

    def get(self, place: tuple[int, int]) -> bytes:
        """The content at that place."""
        start, length = place
        self._file.seek(start)
        return self._file.read(length)


class SpooledContents(Sequence[bytes]):
    """Contents that are read from the spool as they are asked for."""

    def __init__(self, spool: Spool, places: Sequence[tuple[int, int]]) -> None:
        self._spool = spool
        self._places = tuple(places)

    def __len__(self) -> int:
        return len(self._places)

    @overload
    def __getitem__(self, index: int) -> bytes: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[bytes]: ...
    def __getitem__(self, index: int | slice) -> bytes | Sequence[bytes]:
        """One content, or some of them."""
        if isinstance(index, slice):
            return SpooledContents(self._spool, self._places[index])
        return self._spool.get(self._places[index])
