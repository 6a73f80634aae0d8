"""Results of finished stages as files, so that interrupted work goes on from there.

They lie beside the database, are no part of a backup, and are removed when the work is
done. They are pickled, and only values of hipwright's own and of numpy are read back: a
file that somebody exchanged can make wrong bones, but runs no code of theirs.
"""

from __future__ import annotations

import io
import os
import pickle
import re
import secrets
import time
import zlib
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

KEPT_S = 14 * 24 * 3600.0
"""What nobody has taken up for so long is removed (judgment)."""

_NAME = re.compile(r"[0-9a-f]{8,64}-[a-z]+")
_LEVEL = 1
_ALLOWED = re.compile(
    r"hipwright\.(domain|engines)\.[a-z_.]+ [A-Za-z]+"
    r"|numpy(\.[a-z_]+)* (_reconstruct|ndarray|dtype|scalar|_frombuffer)"
    r"|builtins (frozenset|set|bytearray)"
    r"|_codecs encode"
)


class CheckpointFolder:
    """A folder of results (the port ``Checkpoints``)."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def get(self, key: str) -> object | None:
        """The result under that name; ``None`` where there is none that can be read."""
        path = self._path(key)
        try:
            packed = path.read_bytes()
            return _OwnValues(io.BytesIO(zlib.decompress(packed))).load()
        except FileNotFoundError:
            return None
        except Exception:
            return None

    def put(self, key: str, result: object) -> None:
        """Keep a result; where the disk is full the work goes on without."""
        self._clear_old()
        path = self._path(key)
        part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(zlib.compress(pickle.dumps(result, protocol=5), _LEVEL))
            part.replace(path)
        except OSError:
            with suppress(OSError):
                part.unlink(missing_ok=True)

    def drop(self, keys: Iterable[str]) -> None:
        """Remove results that are not needed any more."""
        for path in map(self._path, keys):
            with suppress(OSError):
                path.unlink(missing_ok=True)

    def _path(self, key: str) -> Path:
        if not _NAME.fullmatch(key):
            raise ValueError(key)
        return self.folder / key

    def _clear_old(self) -> None:
        now = time.time()
        with suppress(OSError):
            for path in self.folder.iterdir():
                if now - path.stat().st_mtime > KEPT_S:
                    path.unlink(missing_ok=True)


class _OwnValues(pickle.Unpickler):
    """Reads arrays and hipwright's own values, and nothing else."""

    def find_class(self, module: str, name: str) -> Any:
        """Find an allowed class."""
        if not _ALLOWED.fullmatch(f"{module} {name}"):
            raise pickle.UnpicklingError(module)
        return super().find_class(module, name)
