"""Parting a data set from whose it is, before anything is kept.

DICOM PS3.15 Annex E, Basic Application Level Confidentiality Profile, with the
options named in ``kept_attributes.toml``. The rule is the other way round
than the standard's table: what is not on the list of things that may stay is
gone, and what is on the list stays only if its value is of the expected kind.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

from pydicom.datadict import dictionary_VR, tag_for_keyword
from pydicom.dataset import Dataset
from pydicom.uid import UID

from hipwright.adapters.dicom.attribute_rules import Keep, Rule, attribute_rules, standard_code
from hipwright.adapters.dicom.explicit_little_endian import (
    Element,
    Elements,
    sequence,
    text_element,
)
from hipwright.adapters.dicom.raw_values import array_element, number_element, text_of
from hipwright.adapters.dicom.trade_words import cleaned_description

OLDEST_TOLD = 90
"""Ages above are told as 90 years: the very old are few (common practice)."""

METHOD_CODES = (
    ("113100", "Basic Application Confidentiality Profile"),
    ("113104", "Clean Structured Content Option"),
    ("113105", "Clean Descriptors Option"),
    ("113107", "Retain Longitudinal Temporal Information Modified Dates Option"),
    ("113108", "Retain Patient Characteristics Option"),
)
CLEAN_PIXELS_CODE = ("113101", "Clean Pixel Data Option")
"""PS3.16 CID 7050, as in pydicom's dictionary."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disguise:
    """What a person's data sets are rewritten with.

    ``new_uid`` gives the UID that stands for an original one;
    ``shift_days`` moves every date of the person alike; ``patient_id`` is the
    person's id in the workspace, which says nothing outside it.
    """

    patient_id: str
    shift_days: int
    new_uid: Callable[[str], str]


def shifted(day: date, days: int) -> date | None:
    """That date moved by so many days, or ``None`` where the calendar ends."""
    try:
        return day + timedelta(days=days)
    except OverflowError:
        return None


def parse_date(text: str) -> date | None:
    """A DICOM DA value, the ACR-NEMA form with dots too; ``None`` for anything else."""
    digits = text.strip().replace(".", "")
    if len(digits) != 8 or not (digits.isascii() and digits.isdigit()):
        return None
    try:
        return date(int(digits[:4]), int(digits[4:6]), int(digits[6:]))
    except ValueError:
        return None


def parted(source: Dataset, disguise: Disguise, *, pixels_clean: bool) -> dict[int, Element]:
    """Encoded elements without identity and without pixel data.

    ``pixels_clean`` tells whether the picture was found or said to bear no name.
    """
    result = _kept(source, disguise)
    _describe(result, source, disguise, pixels_clean=pixels_clean)
    return result


def _kept(source: Dataset, disguise: Disguise) -> dict[int, Element]:
    result: dict[int, Element] = {}
    rules = attribute_rules()
    for tag in source.keys():  # noqa: SIM118 - a data set iterates over converted elements
        rule = rules.get(int(tag))
        if rule is None:
            continue
        try:
            kept = _kept_element(source, int(tag), rule, disguise)
        except Exception:  # noqa: S112 - whatever a hostile value raises: it does not stay
            continue
        if kept is not None:
            result[int(tag)] = kept
    return result


def _kept_element(source: Dataset, tag: int, rule: Rule, disguise: Disguise) -> Element | None:
    match rule.keep:
        case Keep.NUMBERS:
            return number_element(source, tag)
        case Keep.ARRAY:
            return array_element(source, tag)
        case Keep.SEQUENCE:
            return sequence([_kept(item, disguise) for item in source[tag].value])
        case Keep.CODED:
            return sequence(_coded(source[tag].value))
        case Keep.EMPTIED:
            return _vr(tag), b""
    new = _new_text(text_of(source, tag), rule, disguise)
    return None if new is None else text_element(_vr(tag), new)


def _new_text(text: str, rule: Rule, disguise: Disguise) -> str | None:
    """What a textual value becomes: empty where it may not stay, ``None`` where it must be."""
    match rule.keep:
        case Keep.THING_UID:
            return disguise.new_uid(text) if text else None
        case Keep.STANDARD_UID:
            return text if UID(text).name != text else None  # the dictionary has it
        case Keep.DATE:
            return _moved(text, disguise.shift_days) or ""
        case Keep.TIME:
            return _to_the_minute(text) or ""
        case Keep.DESCRIPTOR:
            return cleaned_description(text)
        case _:
            return _allowed(text, rule)


def _allowed(text: str, rule: Rule) -> str:
    """Values that match the rule's pattern, or those that are among its words."""
    many = [part.strip() for part in text.split("\\")]
    if rule.pattern is not None:
        return "\\".join(many) if all(map(rule.pattern.fullmatch, many)) else ""
    kept = [part if part in rule.words else "" for part in many]  # each in its own place
    return "\\".join(kept) if any(kept) else ""


def _moved(text: str, days: int) -> str | None:
    """A DA or DT value on its new date; of a time of day, hour and minute."""
    dotted = "." in text[:8]
    day = parse_date(text[:10] if dotted else text[:8])
    new = shifted(day, days) if day is not None else None
    if new is None:
        return None
    minute = _to_the_minute(text[8:]) if not dotted and len(text) > 8 else None
    return f"{new:%Y%m%d}" + (minute or "")


def _to_the_minute(text: str) -> str | None:
    digits = text.replace(":", "")[:4]
    return f"{digits}00" if len(digits) == 4 and digits.isascii() and digits.isdigit() else None


def _coded(items: Iterable[Dataset]) -> list[Elements]:
    kept: list[Elements] = []
    for item in items:
        value, scheme = str(item.get("CodeValue", "")), str(item.get("CodingSchemeDesignator", ""))
        code = standard_code(value, scheme)
        if code is None:
            continue
        entry = _code_entry(code.value, code.scheme_designator, code.meaning)
        for nested in ("ViewModifierCodeSequence", "AnatomicRegionModifierSequence"):
            if nested in item:
                entry[keyword_tag(nested)] = sequence(_coded(item[nested].value))
        kept.append(entry)
    return kept


def _code_entry(value: str, scheme: str, meaning: str) -> dict[int, Element]:
    return {
        0x00080100: text_element("SH", value),
        0x00080102: text_element("SH", scheme),
        0x00080104: text_element("LO", meaning),
    }


def _describe(
    result: dict[int, Element], source: Dataset, disguise: Disguise, *, pixels_clean: bool
) -> None:
    """What every stored file says about itself."""
    said = {
        "PatientID": disguise.patient_id,
        "PatientName": "",
        "PatientIdentityRemoved": "YES",
        "LongitudinalTemporalInformationModified": "MODIFIED",
        "DeidentificationMethod": "DICOM PS3.15 Annex E, by an allow-list",
    }
    age = told_age(source)
    if age:
        said["PatientAge"] = age
    if pixels_clean:
        said["BurnedInAnnotation"] = "NO"
    for keyword, text in said.items():
        result[keyword_tag(keyword)] = text_element(_vr(keyword_tag(keyword)), text)
    for keyword in ALWAYS_THERE:
        result.setdefault(keyword_tag(keyword), (_vr(keyword_tag(keyword)), b""))
    result[keyword_tag("DeidentificationMethodCodeSequence")] = _method_codes(
        pixels_clean=pixels_clean
    )


@cache
def _method_codes(*, pixels_clean: bool) -> Element:
    first, *rest = METHOD_CODES
    done = [first, CLEAN_PIXELS_CODE, *rest] if pixels_clean else [first, *rest]
    return sequence([_code_entry(value, "DCM", meaning) for value, meaning in done])


ALWAYS_THERE = (
    "StudyDate",
    "StudyTime",
    "AccessionNumber",
    "Manufacturer",
    "ReferringPhysicianName",
    "PatientBirthDate",
    "PatientSex",
    "StudyID",
    "SeriesNumber",
    "InstanceNumber",
)
"""Type 2 of PS3.3's patient, study, series, equipment and general image modules."""


@cache
def keyword_tag(keyword: str) -> int:
    """The tag of an attribute the standard names."""
    tag = tag_for_keyword(keyword)
    if tag is None:
        raise ValueError(keyword)
    return tag


@cache
def _vr(tag: int) -> str:
    return dictionary_VR(tag)


def told_age(source: Dataset) -> str:
    """The age at the study: from the true dates where they stand, else as the header says."""
    born = parse_date(text_of(source, keyword_tag("PatientBirthDate")))
    made = parse_date(text_of(source, keyword_tag("StudyDate")))
    if born is not None and made is not None and born <= made:
        years = made.year - born.year - ((made.month, made.day) < (born.month, born.day))
        if years >= 2:
            return f"{min(years, OLDEST_TOLD):03d}Y"
        months = years * 12 + (made.month - born.month - (made.day < born.day)) % 12
        return f"{months:03d}M"
    said = text_of(source, keyword_tag("PatientAge")).upper()
    if len(said) != 4 or not said[:3].isdigit() or said[3] not in "DWMY":
        return ""
    return f"{OLDEST_TOLD:03d}Y" if said[3] == "Y" and int(said[:3]) > OLDEST_TOLD else said
