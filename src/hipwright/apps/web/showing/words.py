"""How dates, ages, sides and sizes are written on screens."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

from hipwright.domain.keeping import Laterality
from hipwright.domain.side import Side
from hipwright.domain.study import VIEW_NAMES, View

NOTHING = "\N{EN DASH}"

LATERALITY_WORDS = {
    Laterality.LEFT: "left hip",
    Laterality.RIGHT: "right hip",
    Laterality.BOTH: "both hips",
    Laterality.UNKNOWN: "side unknown",
}

SEX_WORDS = {"F": "woman", "M": "man", "O": "other"}

NEXT_UNIT = 1000


def age_in_years(born: date | None, on: date | None) -> int | None:
    """Completed years; both dates are shifted alike, so the age is right."""
    if born is None or on is None:
        return None
    had_birthday = (on.month, on.day) >= (born.month, born.day)
    return on.year - born.year - (not had_birthday)


def day(value: date | datetime | None) -> str:
    """``14 Mar 2024``."""
    return NOTHING if value is None else f"{value.day} {value:%b %Y}"


def moment(value: datetime) -> str:
    """``14 Mar 2024, 16:05`` in the machine's time zone."""
    local = value.replace(tzinfo=value.tzinfo or UTC).astimezone()
    return f"{day(local)}, {local:%H:%M}"


def side_word(side: Side | str) -> str:
    """``Left`` or ``Right``."""
    return str(side).capitalize()


def view_name(view: View) -> str:
    """What a view is called."""
    return VIEW_NAMES[view]


def laterality_words(value: Laterality) -> str:
    """Which hips an image shows, in words."""
    return LATERALITY_WORDS[value]


def sex_word(value: str | None) -> str:
    """The sex in words, an en dash where it is not known."""
    return SEX_WORDS.get(value or "", NOTHING)


def size(count: int) -> str:
    """``3.2 MB``."""
    amount = float(count)
    for unit in ("bytes", "kB", "MB"):
        if amount < NEXT_UNIT:
            return f"{amount:.0f} {unit}" if unit == "bytes" else f"{amount:.1f} {unit}"
        amount /= NEXT_UNIT
    return f"{amount:.1f} GB"


def counted(count: int, one: str, many: str = "") -> str:
    """``1 film``, ``3 films``."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def reader_code(observer: str) -> str:
    """``R1`` of ``human:R1``; an algorithm keeps its whole name."""
    return observer.removeprefix("human:")


FILTERS: dict[str, Callable[..., Any]] = {
    "day": day,
    "moment": moment,
    "side": side_word,
    "view": view_name,
    "laterality": laterality_words,
    "sex": sex_word,
    "size": size,
    "counted": counted,
    "reader": reader_code,
}
