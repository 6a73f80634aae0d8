"""File names that can be shown without harm."""

from __future__ import annotations

import unicodedata

LONGEST = 120


def printable(name: str) -> str:
    r"""A name without control, direction-changing and undecodable characters.

    >>> printable("film\x1b[31m\u202egpj.exe")
    'film�[31m�gpj.exe'
    """
    safe = "".join(
        "\ufffd" if unicodedata.category(letter)[0] == "C" else letter for letter in name
    )
    return safe if len(safe) <= LONGEST else "…" + safe[-(LONGEST - 1) :]
