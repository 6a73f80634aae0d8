"""The bytes of a de-identified data set, the same each time for the same input."""

from __future__ import annotations

import io

from pydicom import config, dcmwrite
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.tag import Tag
from pydicom.uid import UID

from hipwright.adapters.dicom.file_reading import StoredPixels

IMPLEMENTATION = UID("2.25.305828488182831875890203105390285383139")
"""Hipwright's own implementation class UID, from a random UUID (PS3.5 section B.2)."""

PIXEL_DATA = Tag("PixelData")


def stored_bytes(dataset: Dataset, pixels: StoredPixels) -> bytes:
    """One file, explicit little endian or in the sender's compression."""
    element = DataElement(PIXEL_DATA, pixels.vr, pixels.value, validation_mode=config.IGNORE)
    element.is_undefined_length = pixels.transfer_syntax.is_compressed
    dataset.add(element)
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = dataset.SOPClassUID
    meta.MediaStorageSOPInstanceUID = dataset.SOPInstanceUID
    meta.TransferSyntaxUID = pixels.transfer_syntax
    meta.ImplementationClassUID = IMPLEMENTATION
    meta.ImplementationVersionName = "HIPWRIGHT"
    dataset.file_meta = meta
    buffer = io.BytesIO()
    dcmwrite(buffer, dataset, implicit_vr=False, little_endian=True, enforce_file_format=True)
    return buffer.getvalue()
