"""Invented DICOM data sets for tests, and identities that need no key."""

from __future__ import annotations

import hashlib
import io
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from pydicom import dcmread, dcmwrite
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.uid import (
    CTImageStorage,
    DigitalXRayImageStorageForPresentation,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
)

from hipwright.adapters.archives.finder import FileFinder
from hipwright.adapters.dicom.dock import LoadingDock
from hipwright.adapters.pictures.reading import PictureReader
from hipwright.domain.keeping import Identity
from hipwright.workflows.ports import Delivery

ROOT = "1.2.826.0.1.3680043.10.999"
SHIFT_DAYS = -377


@dataclass
class OpenIdentities:
    """An identity keeper in memory, with one shift for everybody."""

    shift: int = SHIFT_DAYS
    people: dict[str, Identity] = field(default_factory=dict)

    def save(self, identity: Identity) -> None:
        self.people[identity.person] = identity

    def of(self, person: str) -> Identity | None:
        return self.people.get(person)

    def find(self, *, number: str) -> str | None:
        return next((p for p, i in self.people.items() if number in i.numbers), None)

    def date_shift_days(self, person: str) -> int:
        return self.shift

    def remapped_uid(self, original: str) -> str:
        digest = hashlib.sha256(b"test key" + original.encode()).digest()
        return f"2.25.{int.from_bytes(digest[:16], 'big')}"

    def true_date(self, person: str, shifted: date) -> date:
        return shifted - timedelta(days=self.shift)


def dock(identities: OpenIdentities | None = None) -> LoadingDock:
    return LoadingDock(
        identities=lambda: identities or OpenIdentities(),
        new_id=lambda: str(uuid.uuid4()),
        finder=FileFinder(),
        pictures=PictureReader(),
    )


def silent(_what: str, _done: int, _of: int) -> None:
    """Progress that nobody watches."""


def read(
    *paths: Path, identities: OpenIdentities | None = None, pixels_checked: bool = False
) -> Delivery:
    return dock(identities).read(paths, progress=silent, pixels_checked=pixels_checked)


def base(sop_class: str, number: int = 1, **changes: Any) -> FileDataset:
    """Patient, study and image modules of an invented person."""
    d = FileDataset("", {}, file_meta=FileMetaDataset(), preamble=b"\0" * 128)
    d.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    d.SOPClassUID = sop_class
    d.SOPInstanceUID = f"{ROOT}.1.{number}"
    d.StudyInstanceUID, d.SeriesInstanceUID = f"{ROOT}.2", f"{ROOT}.3"
    d.PatientName, d.PatientID = "Invented^Ida", "INV-7"
    d.PatientBirthDate, d.PatientSex = "19900615", "F"
    d.StudyDate = d.AcquisitionDate = d.ContentDate = "20240301"
    d.StudyTime = d.AcquisitionTime = d.ContentTime = "101559.123"
    d.SamplesPerPixel, d.PhotometricInterpretation = 1, "MONOCHROME2"
    d.BitsAllocated, d.BitsStored, d.HighBit, d.PixelRepresentation = 16, 12, 11, 0
    _set(d, changes)
    return d


def film(number: int = 1, shape: tuple[int, int] = (60, 80), **changes: Any) -> FileDataset:
    """A DX film: a soft gradient."""
    d = base(DigitalXRayImageStorageForPresentation, number)
    d.Modality, d.ImageType = "DX", ["ORIGINAL", "PRIMARY", ""]
    d.SeriesDescription, d.ViewPosition, d.BodyPartExamined = "Pelvis AP", "AP", "PELVIS"
    d.PatientOrientation, d.ImagerPixelSpacing = ["L", "F"], [0.15, 0.15]
    d.PresentationIntentType, d.PresentationLUTShape = "FOR PRESENTATION", "IDENTITY"
    d.BurnedInAnnotation, d.LossyImageCompression = "NO", "00"
    d.Rows, d.Columns = shape
    d.PixelData = gradient(shape).astype("<u2").tobytes()
    _set(d, changes)
    return d


def gradient(shape: tuple[int, int]) -> np.ndarray:
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    return 300 + 11 * rows + 7 * columns


def ct_slice(number: int, z_mm: float, **changes: Any) -> FileDataset:
    d = base(CTImageStorage, number)
    d.Modality, d.ImageType, d.FrameOfReferenceUID = (
        "CT",
        ["ORIGINAL", "PRIMARY", "AXIAL"],
        f"{ROOT}.4",
    )
    d.SeriesDescription, d.InstanceNumber = "Hip bone 1 mm", number
    d.Rows, d.Columns, d.PixelSpacing = 16, 16, [0.8, 0.8]
    d.ImagePositionPatient, d.ImageOrientationPatient = [-6, -6, z_mm], [1, 0, 0, 0, 1, 0]
    d.BitsStored, d.HighBit, d.PixelRepresentation = 16, 15, 1
    d.RescaleIntercept, d.RescaleSlope, d.RescaleType = -1024, 1, "HU"
    d.PixelData = np.full((16, 16), 1000 + number, "<i2").tobytes()
    _set(d, changes)
    return d


def _set(d: Dataset, changes: dict[str, Any]) -> None:
    for keyword, value in changes.items():
        if value is None:
            delattr(d, keyword)
        else:
            setattr(d, keyword, value)


def saved(dataset: Dataset, path: Path, **how: Any) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    dataset.save_as(path, enforce_file_format=True, **how)
    return path


def big_endian(dataset: Dataset, path: Path) -> Path:
    """Write a data set with words of two bytes turned round, pixels too."""
    dataset.PixelData = np.frombuffer(dataset.PixelData, "<u2").astype(">u2").tobytes()
    dataset.file_meta.TransferSyntaxUID = ExplicitVRBigEndian
    dcmwrite(path, dataset, implicit_vr=False, little_endian=False, enforce_file_format=True)
    return path


def as_bytes(dataset: Dataset, **how: Any) -> bytes:
    buffer = io.BytesIO()
    dataset.save_as(buffer, enforce_file_format=True, **how)
    return buffer.getvalue()


def stored(delivery: Delivery) -> list[FileDataset]:
    """Every stored file of a delivery, parsed."""
    return [
        dcmread(io.BytesIO(content))
        for arrival in delivery.arrivals
        for image in arrival.images
        for content in image.contents
    ]


Change = Callable[[Dataset], None]
