"""A simulated CT volume as a series of axial CT images."""

from collections.abc import Iterator

import numpy as np
from pydicom.dataset import FileDataset
from pydicom.uid import UID, CTImageStorage, JPEG2000Lossless

from hipwright.adapters.dicom.write_simulated import (
    InventedStudy,
    SeriesPlace,
    add_pixels,
    common_modules,
)
from hipwright.phantoms.ct_simulator import SMALLEST_HU, SimulatedVolume

_OFFSET = -SMALLEST_HU  # stored values are HU + 1024, 12 bits, as most scanners store them


def ct_datasets(
    volume: SimulatedVolume,
    study: InventedStudy,
    uids: Iterator[UID],
    *,
    series_number: int = 1,
    description: str = "CT pelvis bone 1 mm",
    step_hu: int = 1,
    packed: bool = False,
) -> Iterator[FileDataset]:
    """Give one dataset a slice, from below upward.

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
    step_hu
        How many HU one stored step is: steps well below the noise cost nothing and pack better.
    packed
        Whether pixels are packed, without loss (JPEG 2000).
    """
    series = next(uids)
    for index in range(len(volume.hu)):
        place = SeriesPlace(
            series_uid=series,
            instance_uid=next(uids),
            series_number=series_number,
            instance_number=index + 1,
            description=description,
        )
        ds = _slice(volume, index, study, place, step_hu)
        if packed:
            ds.compress(JPEG2000Lossless, encoding_plugin="pylibjpeg", generate_instance_uid=False)
        yield ds


def _slice(
    volume: SimulatedVolume, index: int, study: InventedStudy, place: SeriesPlace, step_hu: int
) -> FileDataset:
    ds = common_modules(study, place, sop_class=CTImageStorage, modality="CT")
    stored = np.rint((volume.hu[index] + float(_OFFSET)) / step_hu).astype("<u2")
    add_pixels(ds, stored.tobytes(), shape=stored.shape, bits=12)
    ds.PhotometricInterpretation = "MONOCHROME2"
    ds.ImageType = ["ORIGINAL", "PRIMARY", "AXIAL"]
    ds.RescaleIntercept, ds.RescaleSlope, ds.RescaleType = str(-_OFFSET), str(step_hu), "HU"
    ds.WindowCenter, ds.WindowWidth = "400", "2000"
    ds.BodyPartExamined = "KNEE" if "knee" in place.description else "PELVIS"
    ds.PatientPosition = "HFS"
    ds.FrameOfReferenceUID = study.frame_uid
    ds.PositionReferenceIndicator = ""
    x, y, z = volume.spacing_mm
    place_mm = volume.origin_mm + index * z * volume.directions[:, 2]
    ds.ImagePositionPatient = [f"{value:.4f}" for value in place_mm]
    axes = (*volume.directions[:, 0], *volume.directions[:, 1])
    ds.ImageOrientationPatient = [f"{value:g}" for value in axes]
    ds.SliceLocation = f"{place_mm @ volume.directions[:, 2]:.4f}"
    ds.SliceThickness = f"{z:g}"
    ds.PixelSpacing = [f"{y:g}", f"{x:g}"]
    ds.AcquisitionNumber = 1
    ds.KVP = "120"
    ds.XRayTubeCurrent, ds.ExposureTime, ds.Exposure = "250", "500", "125"
    ds.ConvolutionKernel = "BONE"
    ds.GantryDetectorTilt = "0"
    return ds
