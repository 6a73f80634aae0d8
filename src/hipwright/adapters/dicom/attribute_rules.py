"""The table of what may stay in a stored file, read once from ``kept_attributes.toml``."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cache
from importlib.resources import files
from typing import Any

from pydicom.datadict import tag_for_keyword
from pydicom.sr.codedict import codes
from pydicom.sr.coding import Code


class Keep(Enum):
    """What happens to an attribute that may stay."""

    NUMBERS = "numbers"
    STANDARD_UID = "standard_uids"
    THING_UID = "thing_uids"
    DATE = "dates"
    TIME = "times"
    DESCRIPTOR = "descriptors"
    ARRAY = "arrays"
    SEQUENCE = "sequences"
    CODED = "coded"
    EMPTIED = "emptied"
    PATTERN = "patterns"
    CODE_WORDS = "code_words"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """How one attribute is kept; ``words`` and ``pattern`` limit its values."""

    keep: Keep
    words: frozenset[str] = frozenset()
    pattern: re.Pattern[str] | None = None


def _tag(keyword: str) -> int:
    tag = tag_for_keyword(keyword)
    if tag is None:
        raise ValueError(f"kept_attributes.toml names {keyword}, which DICOM does not have")
    return tag


@cache
def attribute_rules() -> Mapping[int, Rule]:
    """The rule of every attribute that may stay, by tag."""
    text = (
        files("hipwright.adapters.dicom")
        .joinpath("kept_attributes.toml")
        .read_text(encoding="utf-8")
    )
    table: dict[str, Any] = tomllib.loads(text)
    rules: dict[int, Rule] = {}
    for keep in Keep:
        for keyword in table[keep.value]:
            rule = Rule(keep=keep)
            if keep is Keep.PATTERN:
                rule = Rule(keep=keep, pattern=re.compile(table[keep.value][keyword]))
            elif keep is Keep.CODE_WORDS:
                rule = Rule(keep=keep, words=frozenset(table[keep.value][keyword]))
            tag = _tag(keyword)
            if tag in rules:
                raise ValueError(f"kept_attributes.toml names {keyword} twice")
            rules[tag] = rule
    return rules


VIEW_AND_REGION_GROUPS = ("cid4009", "cid4010", "cid4011", "cid4031", "cid2", "cid244")
"""Context groups of PS3.16: regions, views, view modifiers, laterality, as pydicom has them."""


@cache
def _view_and_region_codes() -> frozenset[Code]:
    found: set[Code] = set()
    for name in VIEW_AND_REGION_GROUPS:
        group = getattr(codes, name)
        found.update(getattr(group, concept) for concept in group.dir())
    return frozenset(found)


def standard_code(value: str, scheme: str) -> Code | None:
    """The standard's own entry for a code, or ``None`` for one that is not among them.

    SNOMED's older identifiers (``SRT``, ``SNM3``) find their newer ones.
    """
    scheme = "SRT" if scheme in {"SNM3", "99SDM"} else scheme
    asked = Code(value, scheme, "")
    return next((code for code in _view_and_region_codes() if code == asked), None)
