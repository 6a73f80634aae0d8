"""A simulated MR volume as a series of MR images."""

from collections.abc import Iterator

from pydicom.dataset import FileDataset
from pydicom.uid import UID, MRImageStorage

from hipwright.adapters.dicom.write_simulated import (
    InventedStudy,
    SeriesPlace,
    add_pixels,
    common_modules,
)
from hipwright.phantoms.mr_simulator import SimulatedMr

_TIMES_MS = {"fluid_bright": ("2800", "38"), "fat_bright": ("560", "11")}
"""Repetition and echo time that such a contrast would have (common practice)."""


def mr_datasets(
    volume: SimulatedMr,
    study: InventedStudy,
    uids: Iterator[UID],
    *,
    series_number: int = 1,
    description: str = "MR hip",
) -> Iterator[FileDataset]:
    """Give one dataset a slice.

    Parameters
    ----------
    volume
        As simulated.
    study
        Identity, study and frame of reference.
    uids
        The first becomes the series, the following the slices.
    series_number, description
        Of the series.
    """
    series = next(uids)
    for index in range(len(volume.values)):
        place = SeriesPlace(
            series_uid=series,
            instance_uid=next(uids),
            series_number=series_number,
            instance_number=index + 1,
            description=description,
        )
        yield _slice(volume, index, study, place)


def _slice(
    volume: SimulatedMr, index: int, study: InventedStudy, place: SeriesPlace
) -> FileDataset:
    ds = common_modules(study, place, sop_class=MRImageStorage, modality="MR")
    stored = volume.values[index].astype("<u2")
    add_pixels(ds, stored.tobytes(), shape=stored.shape, bits=12)
    ds.PhotometricInterpretation = "MONOCHROME2"
    ds.ImageType = ["ORIGINAL", "PRIMARY", "OTHER"]
    ds.BodyPartExamined = "HIP"
    ds.PatientPosition = "HFS"
    ds.FrameOfReferenceUID = study.frame_uid
    ds.PositionReferenceIndicator = ""
    columns_mm, rows_mm, slices_mm = volume.spacing_mm
    place_mm = volume.origin_mm + index * slices_mm * volume.directions[:, 2]
    ds.ImagePositionPatient = [f"{value:.4f}" for value in place_mm]
    axes = (*volume.directions[:, 0], *volume.directions[:, 1])
    ds.ImageOrientationPatient = [f"{value:g}" for value in axes]
    ds.SliceLocation = f"{place_mm @ volume.directions[:, 2]:.4f}"
    ds.SliceThickness = ds.SpacingBetweenSlices = f"{slices_mm:g}"
    ds.PixelSpacing = [f"{rows_mm:g}", f"{columns_mm:g}"]
    ds.AcquisitionNumber = 1
    ds.ScanningSequence, ds.SequenceVariant, ds.ScanOptions = "SE", "SK", ""
    ds.MRAcquisitionType = "3D"
    ds.RepetitionTime, ds.EchoTime = _TIMES_MS[volume.setup.contrast]
    ds.EchoTrainLength, ds.MagneticFieldStrength = "1", "3"
    return ds
