"""Data sets written out by hand: explicit VR, little endian, the same bytes each time.

DICOM PS3.5 section 7.1.2 (explicit VR) and 7.5 (sequences of known length);
PS3.10 section 7.1 (file meta information). A general writer looks at every
element from all sides, which costs more than reading the file.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping

LONG_FORM = {"OB", "OD", "OF", "OL", "OV", "OW", "SQ", "UC", "UN", "UR", "UT", "SV", "UV"}
"""VRs whose length takes four bytes."""

NUL_PADDED = {"UI", "OB", "OW", "OD", "OF", "OL"}
LONGEST_SHORT = 0xFFFE
UNDEFINED = 0xFFFFFFFF
ITEM = b"\xfe\xff\x00\xe0"
SEQUENCE_END = b"\xfe\xff\xdd\xe0\x00\x00\x00\x00"

Element = tuple[str, bytes]
"""A VR and the encoded value."""

Elements = Mapping[int, Element]
"""Encoded elements by tag."""


def even(vr: str, value: bytes) -> bytes:
    """A value of even length, as every value must be."""
    return value if len(value) % 2 == 0 else value + (b"\0" if vr in NUL_PADDED else b" ")


def encoded(elements: Elements) -> bytes:
    """The elements in ascending order of their tags."""
    out: list[bytes] = []
    for tag in sorted(elements):
        vr, value = elements[tag]
        value = even(vr, value)
        start = struct.pack("<HH", tag >> 16, tag & 0xFFFF) + vr.encode("ascii")
        if vr in LONG_FORM:
            out.append(start + struct.pack("<HI", 0, len(value)))
        elif len(value) <= LONGEST_SHORT:
            out.append(start + struct.pack("<H", len(value)))
        else:
            continue  # no such value is written by anybody in good faith
        out.append(value)
    return b"".join(out)


def sequence(items: Iterable[Elements]) -> Element:
    """A sequence of items, each of known length."""
    bodies = [encoded(item) for item in items]
    return "SQ", b"".join(ITEM + struct.pack("<I", len(body)) + body for body in bodies)


def text_element(vr: str, text: str) -> Element:
    """A value of text; everything that is written here is ASCII."""
    return vr, text.encode("ascii", errors="replace")


def pixel_data(vr: str, value: bytes, *, encapsulated: bool) -> bytes:
    """The pixel data element; encapsulated pixels come as their items (PS3.5 A.4)."""
    start = b"\xe0\x7f\x10\x00" + vr.encode("ascii") + b"\0\0"
    if encapsulated:
        return start + struct.pack("<I", UNDEFINED) + value + SEQUENCE_END
    value = even(vr, value)
    return start + struct.pack("<I", len(value)) + value


def file_start(elements: Elements) -> bytes:
    """Preamble, prefix and file meta information; ``elements`` are those of group 2."""
    rest = encoded(elements)
    length = encoded({0x00020000: ("UL", struct.pack("<I", len(rest)))})
    return b"\0" * 128 + b"DICM" + length + rest
