"""What simulated studies share: an invented identity, repeatable UIDs, the common modules."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time

from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.uid import UID, ExplicitVRLittleEndian

from hipwright import __version__

IMPLEMENTATION_UID = UID("2.25.301587394560203148962204867117420911173")
"""Of the writer of simulated studies, from a random UUID (PS3.5 section B.2)."""

_NAMESPACE = uuid.UUID("5c1f0c0e-8f0b-4b53-9d0b-0c6d1f2a77e1")

INVENTED = "Simulated picture of an invented person. No patient."


def repeatable_uids(seed: str) -> Iterator[UID]:
    """Give UIDs under 2.25 that follow from a seed, never from a clock or a machine.

    Each is the decimal form of a name-based UUID (PS3.5, section B.2), so the
    same demonstration has the same UIDs everywhere.

    Examples
    --------
    >>> first = next(repeatable_uids("example"))
    >>> first == next(repeatable_uids("example")), first.startswith("2.25.")
    (True, True)
    """
    number = 0
    while True:
        yield UID(f"2.25.{uuid.uuid5(_NAMESPACE, f'{seed}/{number}').int}")
        number += 1


@dataclass(frozen=True, slots=True, kw_only=True)
class InventedStudy:
    """An invented person's visit, as a header tells it.

    Parameters
    ----------
    patient_id, patient_name, birth_date, sex
        The invented person; the name in DICOM form, ``Family^Given``.
    study_uid, frame_uid
        Study and, for volumes, frame of reference.
    day, hour
        When it was taken.
    accession, description
        Of the study.
    """

    patient_id: str
    patient_name: str
    birth_date: date
    sex: str
    study_uid: UID
    frame_uid: UID
    day: date
    hour: time
    accession: str
    description: str
    study_id: str = "1"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesPlace:
    """Where an image belongs within a study."""

    series_uid: UID
    instance_uid: UID
    series_number: int
    instance_number: int = 1
    description: str = ""


def coded(value: str, meaning: str, scheme: str = "SCT") -> Dataset:
    """Give a code item."""
    item = Dataset()
    item.CodeValue = value
    item.CodingSchemeDesignator = scheme
    item.CodeMeaning = meaning
    return item


def common_modules(
    study: InventedStudy, place: SeriesPlace, *, sop_class: UID, modality: str
) -> FileDataset:
    """Give a dataset with patient, study, series, equipment and SOP common modules."""
    meta = FileMetaDataset()
    meta.FileMetaInformationVersion = b"\x00\x01"
    meta.MediaStorageSOPClassUID = sop_class
    meta.MediaStorageSOPInstanceUID = place.instance_uid
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    meta.ImplementationClassUID = IMPLEMENTATION_UID
    meta.ImplementationVersionName = f"HIPWRIGHT {__version__}"[:16]
    ds = FileDataset("", {}, file_meta=meta, preamble=b"\0" * 128)
    day, hour = f"{study.day:%Y%m%d}", f"{study.hour:%H%M%S}"
    ds.SpecificCharacterSet = "ISO_IR 192"
    ds.SOPClassUID, ds.SOPInstanceUID = sop_class, place.instance_uid
    ds.StudyDate, ds.StudyTime = day, hour
    ds.SeriesDate, ds.SeriesTime = day, hour
    ds.AcquisitionDate, ds.AcquisitionTime = day, hour
    ds.ContentDate, ds.ContentTime = day, hour
    ds.InstanceCreationDate, ds.InstanceCreationTime = day, hour
    ds.AccessionNumber = study.accession
    ds.Modality = modality
    ds.Manufacturer = "Invented for demonstration"
    ds.ManufacturerModelName = "hipwright simulator"
    ds.DeviceSerialNumber = "0"
    ds.SoftwareVersions = f"hipwright {__version__}"
    ds.InstitutionName = "Invented practice"
    ds.ReferringPhysicianName = ""
    ds.StudyDescription = study.description
    ds.SeriesDescription = place.description
    ds.PatientName, ds.PatientID = study.patient_name, study.patient_id
    ds.PatientBirthDate, ds.PatientSex = f"{study.birth_date:%Y%m%d}", study.sex
    had_birthday = (study.day.month, study.day.day) >= (
        study.birth_date.month,
        study.birth_date.day,
    )
    years = study.day.year - study.birth_date.year - (0 if had_birthday else 1)
    ds.PatientAge = f"{years:03d}Y"
    ds.PatientComments = INVENTED
    ds.StudyInstanceUID, ds.SeriesInstanceUID = study.study_uid, place.series_uid
    ds.StudyID = study.study_id
    ds.SeriesNumber, ds.InstanceNumber = place.series_number, place.instance_number
    ds.ImageComments = INVENTED
    ds.BurnedInAnnotation = "NO"
    return ds


def add_pixels(
    ds: Dataset, pixels: bytes, *, shape: tuple[int, int], bits: int, signed: bool = False
) -> None:
    """Add the image pixel module for 16-bit words, little-endian."""
    ds.SamplesPerPixel = 1
    ds.Rows, ds.Columns = shape
    ds.BitsAllocated, ds.BitsStored, ds.HighBit = 16, bits, bits - 1
    ds.PixelRepresentation = int(signed)
    ds.PixelData = pixels
    ds["PixelData"].VR = "OW"
