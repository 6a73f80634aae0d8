"""Which DICOM objects the dock takes in, and what it says to the others."""

from __future__ import annotations

from pydicom.uid import UID

from hipwright.domain.keeping import ImageKind

TAKEN = {
    "1.2.840.10008.5.1.4.1.1.1": ImageKind.FILM,  # computed radiography
    "1.2.840.10008.5.1.4.1.1.1.1": ImageKind.FILM,  # digital x-ray, for presentation
    "1.2.840.10008.5.1.4.1.1.1.1.1": ImageKind.FILM,  # digital x-ray, for processing
    "1.2.840.10008.5.1.4.1.1.12.1": ImageKind.FILM,  # x-ray angiography: one frame of a C-arm
    "1.2.840.10008.5.1.4.1.1.12.2": ImageKind.FILM,  # x-ray radiofluoroscopy
    "1.2.840.10008.5.1.4.1.1.2": ImageKind.SERIES,  # CT
    "1.2.840.10008.5.1.4.1.1.4": ImageKind.SERIES,  # MR
    "1.2.840.10008.5.1.4.1.1.7": ImageKind.PICTURE,  # secondary capture
    "1.2.840.10008.5.1.4.1.1.7.2": ImageKind.PICTURE,  # multi-frame forms of it,
    "1.2.840.10008.5.1.4.1.1.7.3": ImageKind.PICTURE,  # taken when they hold one frame
    "1.2.840.10008.5.1.4.1.1.7.4": ImageKind.PICTURE,
}
"""SOP classes of PS3.4 Annex B, by what becomes of them."""

FOR_PROCESSING = "1.2.840.10008.5.1.4.1.1.1.1.1"
DICOMDIR = "1.2.840.10008.1.3.10"
ENHANCED = {"1.2.840.10008.5.1.4.1.1.2.1", "1.2.840.10008.5.1.4.1.1.4.1"}

MODALITY = {
    "1.2.840.10008.5.1.4.1.1.1": "CR",
    "1.2.840.10008.5.1.4.1.1.1.1": "DX",
    "1.2.840.10008.5.1.4.1.1.1.1.1": "DX",
    "1.2.840.10008.5.1.4.1.1.12.1": "XA",
    "1.2.840.10008.5.1.4.1.1.12.2": "RF",
    "1.2.840.10008.5.1.4.1.1.2": "CT",
    "1.2.840.10008.5.1.4.1.1.4": "MR",
}


def why_not(sop_class: str) -> str | None:
    """The reason an object of that class is turned away, or ``None`` if it is taken."""
    if sop_class in TAKEN:
        return None
    if not sop_class:
        return "The file does not say what kind of object it is (no SOP Class UID)."
    if sop_class == DICOMDIR:
        return "This is the disc's table of contents, not an image."
    if sop_class in ENHANCED:
        return (
            "Enhanced multi-frame CT and MR are not read yet: ask the sender for the classic "
            "form, one file a slice."
        )
    name = UID(sop_class).name
    name = "an object of an unknown kind" if name == sop_class else name
    return f"Not a picture of a hip that can be read here: {name}."
