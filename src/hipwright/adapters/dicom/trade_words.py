"""The trade's words in several languages, and what a description keeps of itself."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

_WORD = re.compile(r"[a-z]+|\d+")
_LONGEST_KEPT_NUMBER = 2
"""Digits: 45 (degrees) and 3 (mm) stay, a patient number does not."""


@lru_cache(maxsize=512)
def folded(text: str) -> tuple[str, ...]:
    """The words and numbers of a text, lower case, without accents.

    >>> folded("Hüft-LWS 45° Gauche")
    ('huft', 'lws', '45', 'gauche')
    """
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o"))
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return tuple(_WORD.findall(plain.lower()))


@dataclass(frozen=True, slots=True)
class Phrase:
    """One entry of the word list: words in a row, the last one perhaps only begun."""

    words: tuple[str, ...]
    open_ended: bool

    def is_in(self, text: tuple[str, ...]) -> bool:
        """Whether the phrase occurs in the folded text."""
        count = len(self.words)
        return any(
            self._matches(text[start : start + count]) for start in range(len(text) - count + 1)
        )

    def _matches(self, part: tuple[str, ...]) -> bool:
        *first, last = self.words
        begun = part[-1].startswith(last) if self.open_ended else part[-1] == last
        return begun and list(part[:-1]) == first


def _phrase(entry: str) -> Phrase:
    return Phrase(folded(entry.rstrip("*")), entry.endswith("*"))


@cache
def phrases() -> Mapping[str, Mapping[str, tuple[Phrase, ...]]]:
    """The word list: section, meaning, phrases."""
    text = (
        files("hipwright.adapters.dicom").joinpath("trade_words.toml").read_text(encoding="utf-8")
    )
    return {
        section: {meaning: tuple(map(_phrase, entries)) for meaning, entries in meanings.items()}
        for section, meanings in tomllib.loads(text).items()
    }


@lru_cache(maxsize=4096)
def meanings_in(text: tuple[str, ...], section: str) -> tuple[tuple[str, Phrase], ...]:
    """Every meaning of that section the text carries, longest phrase first."""
    found = [
        (meaning, phrase)
        for meaning, entries in phrases()[section].items()
        for phrase in entries
        if phrase.is_in(text)
    ]
    return tuple(sorted(found, key=lambda pair: -sum(map(len, pair[1].words))))


@cache
def _vocabulary() -> frozenset[str]:
    """Whole words only: an open-ended entry must not let a name through by its beginning."""
    every: Iterable[Phrase] = (
        phrase
        for section in phrases().values()
        for entries in section.values()
        for phrase in entries
    )
    return frozenset(word for phrase in every for word in phrase.words)


@lru_cache(maxsize=512)
def cleaned_description(text: str) -> str:
    """What a description may keep: words of the trade and numbers of one or two digits.

    >>> cleaned_description("Becken ap Herr Mustermann 19650312 stehend 45 Grad")
    'becken ap stehend 45'
    """
    known = _vocabulary()
    kept = [
        word
        for word in folded(text)
        if word in known or (word.isdigit() and len(word) <= _LONGEST_KEPT_NUMBER)
    ]
    return " ".join(kept)[:64]
