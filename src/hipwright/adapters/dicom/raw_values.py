"""Values of a little-endian data set as they stand in the file, checked but not converted."""

from __future__ import annotations

import math
import re
import struct
from functools import cache

import numpy as np
from pydicom.datadict import dictionary_VR
from pydicom.dataelem import DataElement, RawDataElement
from pydicom.dataset import Dataset
from pydicom.multival import MultiValue
from pydicom.valuerep import VR as VALUE_REPRESENTATION

from hipwright.adapters.dicom.explicit_little_endian import Element

FORMATS = {"US": "H", "SS": "h", "UL": "I", "SL": "i", "FL": "f", "FD": "d"}
SIGNED_TAG = 0x00280103
PIXEL_DATA_TAG = 0x7FE00010

_DECIMALS = re.compile(rb"[ 0-9+\-.eE\\\0]*")


def number_element(source: Dataset, tag: int) -> Element | None:
    """A value that is nothing but finite numbers, as it stands; ``None`` for any other."""
    item = source.get_item(tag)
    if item is None:
        return None
    vr = _numeric_vr(source, tag, _said_vr(item))
    if vr is None:
        return None
    value = item.value if isinstance(item, RawDataElement) else _packed(item, vr)
    if value is None or value == b"":
        return vr, b""
    if vr in {"DS", "IS"}:
        return (vr, value) if _are_decimals(value) else None
    return (vr, value) if _are_packed_numbers(value, vr) else None


def array_element(source: Dataset, tag: int) -> Element | None:
    """A table of values; pixel data is handled elsewhere."""
    item = source.get_item(tag)
    if item is None or tag == PIXEL_DATA_TAG:
        return None
    said = _said_vr(item)
    vr = said if said in {"US", "SS", "OW", "OB"} else "OW"
    value = item.value if isinstance(item, RawDataElement) else _packed(item, vr)
    return None if value is None else ("OW" if vr in {"US", "SS"} else vr, value)


def text_of(source: Dataset, tag: int) -> str:
    """A textual value; what is not ASCII cannot match anything that may stay."""
    item = source.get_item(tag)
    if item is None or item.value is None:
        return ""
    if isinstance(item.value, bytes):
        return item.value.decode("latin-1").strip(" \0")
    if isinstance(item.value, str):
        return item.value.strip(" \0")
    if isinstance(item.value, MultiValue | list | tuple):
        return "\\".join(str(part) for part in item.value)
    return str(item.value).strip(" \0")


def _said_vr(item: DataElement | RawDataElement) -> str:
    return str(item.VR) if item.VR else ""


@cache
def _expected(tag: int) -> frozenset[str]:
    """The VRs the dictionary allows: "US or SS" are two."""
    return frozenset(str(VALUE_REPRESENTATION(dictionary_VR(tag)).value).split(" or "))


def _numeric_vr(source: Dataset, tag: int, said: str) -> str | None:
    allowed = _expected(tag)
    if said in allowed:
        return said
    if said not in {"", "UN", dictionary_VR(tag)}:
        return None
    if len(allowed) == 1:
        return next(iter(allowed))
    return "SS" if text_of(source, SIGNED_TAG) in {"1", "\x01", "\x01\x00"} else "US"


def _packed(item: DataElement, vr: str) -> bytes | None:
    """A converted value back in its bytes."""
    value = item.value
    if value is None or isinstance(value, bytes):
        return value
    if isinstance(value, str):
        many: list[object] = [value] if value else []
    else:
        many = list(value) if hasattr(value, "__iter__") else [value]
    if vr in {"DS", "IS"}:
        return "\\".join(str(each) for each in many).encode("ascii", errors="replace")
    numbers = [float(str(each)) for each in many]
    if vr in {"FL", "FD"}:
        return struct.pack(f"<{len(numbers)}{FORMATS[vr]}", *numbers)
    code = FORMATS["US"] if vr == "OW" else FORMATS[vr]
    return struct.pack(f"<{len(numbers)}{code}", *(int(each) for each in numbers))


def _are_packed_numbers(value: bytes, vr: str) -> bool:
    width = struct.calcsize("<" + FORMATS[vr])
    if len(value) % width:
        return False
    return vr not in {"FL", "FD"} or bool(np.isfinite(np.frombuffer(value, f"<f{width}")).all())


def _are_decimals(value: bytes) -> bool:
    if not _DECIMALS.fullmatch(value):
        return False
    try:
        parts = [part.strip(b" \0") for part in value.split(b"\\")]
        return all(math.isfinite(float(part)) for part in parts if part)
    except ValueError:
        return False
