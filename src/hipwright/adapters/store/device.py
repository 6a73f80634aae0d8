"""The id of this machine and user, made once: the origin of every row made here."""

from __future__ import annotations

import os
import secrets
import uuid
from contextlib import suppress
from pathlib import Path

from hipwright.adapters.store.desk import new_id
from hipwright.adapters.store.faults import told_plainly
from hipwright.domain.errors import KeepingError


def device_id(path: Path) -> str:
    """Read the id from its file, made at first use; two processes at once agree on one.

    Raises
    ------
    KeepingError
        The file cannot be read or made, or holds something else.
    """
    with told_plainly("cannot make this machine's id"):
        if not path.exists():
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
            with part.open("x", encoding="ascii") as file:
                file.write(new_id())
                file.flush()
                os.fsync(file.fileno())
            with suppress(FileExistsError):
                os.link(part, path)
            part.unlink()
        text = path.read_text("ascii", errors="replace").strip()
    try:
        return str(uuid.UUID(text))
    except ValueError as error:
        raise KeepingError(
            "cannot tell which machine this is",
            found="a device file with something else in it",
            needed="the id that hipwright wrote",
            next_step=f"Remove {path}: a new id is made.",
        ) from error
