"""Case codes: short enough to say on the phone, unlikely enough never to meet twice.

Six characters in two groups, such as ``K7M-4QX``. The alphabet is Crockford's base 32
without its vowels: no I, L, O or U to mix up with 1 and 0, no words, and a letter first so
that no spreadsheet takes a code for a number. That makes 486 million codes: two devices
with 2000 cases each, never connected, share one with a probability of 0.8 % (computed), and a
mistyped code almost never names another case. Inside one database codes are unique.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from hipwright.domain.errors import KeepingError

LETTERS = "BCDFGHJKMNPQRSTVWXYZ"
ALPHABET = "0123456789" + LETTERS
GROUP = 3
LONGEST = 24

_LOOK_ALIKES = str.maketrans({"O": "0", "I": "1", "L": "1"})
_CHOSEN = re.compile(r"[A-Z0-9]+(-[A-Z0-9]+)*")


def make_code(choose: Callable[[Sequence[str]], str]) -> str:
    """Make a code; ``choose`` picks one character of those given."""
    first = choose(LETTERS)
    rest = "".join(choose(ALPHABET) for _ in range(2 * GROUP - 1))
    return f"{first}{rest[: GROUP - 1]}-{rest[GROUP - 1 :]}"


def code_key(code: str) -> str:
    """The code as it is looked up: upper case, no hyphens or blanks, look-alikes folded.

    >>> code_key("k7m 4qx") == code_key("K7M-4QX")
    True
    >>> code_key("HIP-O1") == code_key("hip-oL")
    True
    """
    kept = "".join(c for c in code.upper() if not c.isspace() and c != "-")
    return kept.translate(_LOOK_ALIKES)


def check_code(code: str) -> str:
    """Check a code that somebody chose; return it in upper case.

    Raises
    ------
    KeepingError
        It is empty, too long, or has other characters.
    """
    shown = code.strip().upper()
    if not (_CHOSEN.fullmatch(shown) and len(shown) <= LONGEST):
        raise KeepingError(
            "cannot use the case code",
            found=f"{len(shown)} characters, or others than letters, digits and single hyphens",
            needed=f"1 to {LONGEST} letters and digits, with hyphens between them",
            next_step="Choose another code, without a name or a hospital number in it, "
            "or leave it out to get one.",
            field="code",
        )
    return shown
