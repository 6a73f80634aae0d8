"""The bytes of a de-identified file, the same each time for the same input."""

from __future__ import annotations

from pydicom.uid import UID

from hipwright.adapters.dicom.explicit_little_endian import (
    Elements,
    encoded,
    file_start,
    pixel_data,
    text_element,
)
from hipwright.adapters.dicom.file_reading import StoredPixels

IMPLEMENTATION = UID("2.25.305828488182831875890203105390285383139")
"""Hipwright's own implementation class UID, from a random UUID (PS3.5 section B.2)."""

SOP_CLASS, SOP_INSTANCE = 0x00080016, 0x00080018


def stored_bytes(elements: Elements, pixels: StoredPixels) -> bytes:
    """One file, explicit little endian or in the sender's compression."""
    meta = {
        0x00020001: ("OB", b"\x00\x01"),
        0x00020002: elements[SOP_CLASS],
        0x00020003: elements[SOP_INSTANCE],
        0x00020010: text_element("UI", pixels.transfer_syntax),
        0x00020012: text_element("UI", IMPLEMENTATION),
        0x00020013: text_element("SH", "HIPWRIGHT"),
    }
    body = pixel_data(pixels.vr, pixels.value, encapsulated=pixels.transfer_syntax.is_compressed)
    return file_start(meta) + encoded(elements) + body
