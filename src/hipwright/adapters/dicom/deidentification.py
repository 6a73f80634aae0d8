"""Parting a data set from whose it is, before anything is kept.

DICOM PS3.15 Annex E, Basic Application Level Confidentiality Profile, with the
options named in ``kept_attributes.toml``. The rule is the other way round
than the standard's table: what is not on the list of things that may stay is
gone, and what is on the list stays only if its value is of the expected kind.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from pydicom import config
from pydicom.datadict import dictionary_VR, tag_for_keyword
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from pydicom.uid import UID

from hipwright.adapters.dicom.attribute_rules import Keep, Rule, attribute_rules, standard_code
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


def parted(source: Dataset, disguise: Disguise, *, pixels_clean: bool) -> Dataset:
    """A new data set without identity; pixel data elements are handed over as they are.

    ``pixels_clean`` tells whether the picture was found or said to bear no name.
    """
    result = _kept(source, disguise)
    _describe(result, source, disguise, pixels_clean=pixels_clean)
    return result


def _kept(source: Dataset, disguise: Disguise) -> Dataset:
    result = Dataset()
    rules = attribute_rules()
    for tag in source.keys():  # noqa: SIM118 - a data set iterates over converted elements
        rule = rules.get(int(tag))
        if rule is None:
            continue
        try:
            kept = _kept_element(source[tag], rule, disguise)
        except Exception:  # noqa: S112 - whatever a hostile value raises: it does not stay
            continue
        if kept is not None:
            result.add(kept)
    return result


def _kept_element(element: DataElement, rule: Rule, disguise: Disguise) -> DataElement | None:
    tag = element.tag
    vr = dictionary_VR(tag)
    value = element.value
    match rule.keep:
        case Keep.ARRAY:
            return element if isinstance(value, bytes) or element.VR in {"US", "SS"} else None
        case Keep.SEQUENCE:
            items = [_kept(item, disguise) for item in element.value]
            return _made(tag, "SQ", Sequence(items))
        case Keep.CODED:
            return _made(tag, "SQ", Sequence(_coded(element.value)))
        case Keep.EMPTIED:
            return _made(tag, vr, Sequence() if vr == "SQ" else "")
        case Keep.NUMBERS:
            return element if _are_numbers(element) else None
    new = _new_text(value, rule, disguise)
    return None if new is None else _made(tag, vr, new)


def _new_text(value: Any, rule: Rule, disguise: Disguise) -> str | list[str] | None:  # noqa: PLR0911
    """What a textual value becomes, or ``None`` if it may not stay."""
    text = str(value) if value is not None else ""
    match rule.keep:
        case Keep.THING_UID:
            return disguise.new_uid(text) if text else None
        case Keep.STANDARD_UID:
            return text if UID(text).name != text else None  # the dictionary has it
        case Keep.DATE:
            return _moved(text, disguise.shift_days)
        case Keep.TIME:
            return _to_the_minute(text)
        case Keep.DESCRIPTOR:
            return cleaned_description(text)
    many = [text] if isinstance(value, str) or value is None else [str(each) for each in value]
    kept = [_allowed(each.strip(), rule) for each in many]
    if rule.keep is Keep.PATTERN:
        return [each or "" for each in kept] if all(each is not None for each in kept) else None
    return [each for each in kept if each] or None


def _allowed(text: str, rule: Rule) -> str | None:
    if rule.pattern is not None:
        return text if rule.pattern.fullmatch(text) else None
    return text if text in rule.words else None


def _moved(text: str, days: int) -> str | None:
    """A DA or DT value on its new date; of a time of day, hour and minute."""
    day = parse_date(text[:10] if "." in text[:8] else text[:8])
    new = shifted(day, days) if day is not None else None
    if new is None:
        return None
    minute = _to_the_minute(text[8:]) if len(text) > 10 else None
    return f"{new:%Y%m%d}" + (minute or "")


def _to_the_minute(text: str) -> str | None:
    digits = text.replace(":", "")[:4]
    return f"{digits}00" if len(digits) == 4 and digits.isascii() and digits.isdigit() else None


def _are_numbers(element: DataElement) -> bool:
    value = element.value
    if value is None or (isinstance(value, str | bytes) and not value):
        return True
    many = value if element.VM > 1 else [value]
    return all(not isinstance(each, str | bytes) and math.isfinite(float(each)) for each in many)


def _coded(items: Any) -> list[Dataset]:
    kept: list[Dataset] = []
    for item in items:
        code = standard_code(
            str(item.get("CodeValue", "")), str(item.get("CodingSchemeDesignator", ""))
        )
        if code is None:
            continue
        entry = _code_entry(code.value, code.scheme_designator, code.meaning)
        for nested in ("ViewModifierCodeSequence", "AnatomicRegionModifierSequence"):
            if nested in item:
                entry.add_new(nested, "SQ", Sequence(_coded(item[nested].value)))
        kept.append(entry)
    return kept


def _code_entry(value: str, scheme: str, meaning: str) -> Dataset:
    entry = Dataset()
    entry.CodeValue, entry.CodingSchemeDesignator, entry.CodeMeaning = value, scheme, meaning
    return entry


def _made(tag: Any, vr: str, value: Any) -> DataElement:
    return DataElement(tag, vr, value, validation_mode=config.IGNORE)


def _describe(result: Dataset, source: Dataset, disguise: Disguise, *, pixels_clean: bool) -> None:
    """What every stored file says about itself."""
    result.PatientID = disguise.patient_id
    result.PatientName = ""
    for keyword in _ALWAYS_THERE:
        if keyword not in result:
            result.add(_made(keyword_tag(keyword), dictionary_VR(keyword), ""))
    result.PatientAge = told_age(source)
    if not result.PatientAge:
        del result.PatientAge
    result.PatientIdentityRemoved = "YES"
    result.LongitudinalTemporalInformationModified = "MODIFIED"
    result.DeidentificationMethod = "DICOM PS3.15 Annex E, by an allow-list"
    done = list(METHOD_CODES)
    if pixels_clean:
        done.insert(1, CLEAN_PIXELS_CODE)
        result.BurnedInAnnotation = "NO"
    result.DeidentificationMethodCodeSequence = Sequence(
        [_code_entry(value, "DCM", meaning) for value, meaning in done]
    )


_ALWAYS_THERE: Mapping[str, None] = dict.fromkeys(
    (
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
)  # type 2 of PS3.3's patient, study, series, equipment and general image modules


def keyword_tag(keyword: str) -> int:
    """The tag of an attribute the standard names."""
    tag = tag_for_keyword(keyword)
    if tag is None:
        raise ValueError(keyword)
    return tag


def told_age(source: Dataset) -> str:
    """The age at the study: from the true dates where they stand, else as the header says."""
    born = parse_date(str(source.get("PatientBirthDate", "") or ""))
    made = parse_date(str(source.get("StudyDate", "") or ""))
    if born is not None and made is not None and born <= made:
        years = made.year - born.year - ((made.month, made.day) < (born.month, born.day))
        if years >= 2:
            return f"{min(years, OLDEST_TOLD):03d}Y"
        months = years * 12 + (made.month - born.month - (made.day < born.day)) % 12
        return f"{months:03d}M"
    said = str(source.get("PatientAge", "") or "").strip().upper()
    if len(said) != 4 or not said[:3].isdigit() or said[3] not in "DWMY":
        return ""
    return f"{OLDEST_TOLD:03d}Y" if said[3] == "Y" and int(said[:3]) > OLDEST_TOLD else said
