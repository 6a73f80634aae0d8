"""Simulated films as DX (for presentation, for processing) and CR objects."""

from enum import Enum

import numpy as np
from pydicom.dataset import Dataset, FileDataset
from pydicom.sequence import Sequence
from pydicom.uid import (
    ComputedRadiographyImageStorage,
    DigitalXRayImageStorageForPresentation,
    DigitalXRayImageStorageForProcessing,
)

from hipwright.adapters.dicom.write_simulated import (
    InventedStudy,
    SeriesPlace,
    add_pixels,
    coded,
    common_modules,
)
from hipwright.domain.side import Side
from hipwright.domain.study import Posture, View
from hipwright.phantoms.film_appearance import FULL_SCALE
from hipwright.phantoms.film_simulator import SimulatedFilm

BITS = 12
_TOLD_ABOVE = 0.25  # a direction is named when its cosine exceeds this


class FilmObject(Enum):
    """Which kind of DICOM object a film is written as."""

    DX_FOR_PRESENTATION = "DX for presentation"
    DX_FOR_PROCESSING = "DX for processing"
    CR = "CR"


_SOP_CLASSES = {
    FilmObject.DX_FOR_PRESENTATION: DigitalXRayImageStorageForPresentation,
    FilmObject.DX_FOR_PROCESSING: DigitalXRayImageStorageForProcessing,
    FilmObject.CR: ComputedRadiographyImageStorage,
}

_NAMES = {
    View.PELVIS_AP: "AP pelvis",
    View.DUNN_45: "Dunn 45",
    View.FALSE_PROFILE: "False profile",
}


def described(film: SimulatedFilm) -> str:
    """Give the series description: view, side and posture in trade words."""
    side = film.setup.side
    words = [_NAMES[film.setup.view], str(side) if side else "", film.setup.posture.value]
    return " ".join(word for word in words if word)


def film_dataset(
    film: SimulatedFilm, study: InventedStudy, place: SeriesPlace, kind: FilmObject
) -> FileDataset:
    """Turn a film into a DICOM object.

    Parameters
    ----------
    film
        As simulated; its geometry goes into the header as a machine would know
        it: Imager Pixel Spacing, source and detector distances, estimated
        magnification.
    study, place
        Identity and UIDs.
    kind
        The object's class.
    """
    modality = "CR" if kind is FilmObject.CR else "DX"
    ds = common_modules(study, place, sop_class=_SOP_CLASSES[kind], modality=modality)
    ds.ImageType = ["ORIGINAL", "PRIMARY"] + ([] if kind is FilmObject.CR else [""])
    add_pixels(ds, film.pixels.astype("<u2").tobytes(), shape=film.pixels.shape, bits=BITS)
    ds.PhotometricInterpretation = "MONOCHROME1" if film.inverted else "MONOCHROME2"
    ds.LossyImageCompression = "00"
    if kind is not FilmObject.DX_FOR_PROCESSING:
        ds.WindowCenter, ds.WindowWidth = str((FULL_SCALE + 1) // 2), str(FULL_SCALE + 1)
    _add_positioning(ds, film)
    _add_exposure(ds, film)
    if kind is not FilmObject.CR:
        _add_dx(ds, film, kind)
    return ds


def _add_positioning(ds: Dataset, film: SimulatedFilm) -> None:
    setup = film.setup
    both = setup.side is None
    ds.BodyPartExamined = "PELVIS" if both else "HIP"
    frontal = setup.view is not View.FALSE_PROFILE
    ds.ViewPosition = "AP" if frontal else ("LLO" if setup.side is Side.LEFT else "RLO")
    ds.PatientOrientation = [
        named_direction(film.beam.column_axis),
        named_direction(film.beam.row_axis),
    ]
    letter = "B" if both else ("L" if setup.side is Side.LEFT else "R")
    ds.ImageLaterality = letter
    if setup.posture is Posture.SUPINE:
        ds.PatientPosition = "HFS"
    ds.DistanceSourceToDetector = f"{setup.source_detector_mm:g}"
    ds.DistanceSourceToPatient = f"{setup.source_detector_mm - setup.object_detector_mm:g}"
    ds.ImagerPixelSpacing = [f"{setup.pixel_mm:g}", f"{setup.pixel_mm:g}"]


def _add_exposure(ds: Dataset, film: SimulatedFilm) -> None:
    sideways = film.setup.view is View.FALSE_PROFILE
    ds.KVP = "85" if sideways else "77"
    ds.ExposureTime, ds.XRayTubeCurrent, ds.Exposure = "50", "320", "16"
    ds.FocalSpots = "1.0"


def _add_dx(ds: Dataset, film: SimulatedFilm, kind: FilmObject) -> None:
    shown = kind is FilmObject.DX_FOR_PRESENTATION
    ds.PresentationIntentType = "FOR PRESENTATION" if shown else "FOR PROCESSING"
    ds.PixelIntensityRelationship = "LOG"
    ds.PixelIntensityRelationshipSign = 1 if film.inverted else -1
    ds.RescaleIntercept, ds.RescaleSlope, ds.RescaleType = "0", "1", "US"
    ds.PresentationLUTShape = "INVERSE" if film.inverted else "IDENTITY"
    ds.DetectorType = "SCINTILLATOR"
    ds.DetectorConfiguration = "AREA"
    ds.DetectorElementPhysicalSize = ds.ImagerPixelSpacing
    ds.PositionerType = "NONE"
    ds.Grid = "FOCUSED"
    ds.EstimatedRadiographicMagnificationFactor = f"{film.magnification:.4f}"
    ds.AcquisitionContextSequence = Sequence()
    if film.setup.side is None:
        region = coded("816092008", "Pelvis")
        side_code = coded("51440002", "Right and left")
    else:
        region = coded("24136001", "Hip joint")
        left = film.setup.side is Side.LEFT
        side_code = coded("7771000", "Left") if left else coded("24028007", "Right")
    region.AnatomicRegionModifierSequence = Sequence([side_code])
    ds.AnatomicRegionSequence = Sequence([region])
    ds.ViewCodeSequence = Sequence([_view_code(film)])


def _view_code(film: SimulatedFilm) -> Dataset:
    """PS3.16 CID 4010."""
    if film.setup.view is not View.FALSE_PROFILE:
        view = coded("399348003", "antero-posterior")
    elif film.setup.side is Side.LEFT:
        view = coded("399006002", "left posterior oblique")
    else:
        view = coded("399038007", "right posterior oblique")
    view.ViewModifierCodeSequence = Sequence()
    return view


def named_direction(axis_lps: np.ndarray) -> str:
    """Give the DICOM letters of a direction, largest component first (PS3.3, C.7.6.1.1.1).

    Examples
    --------
    >>> named_direction(np.array([1.0, 0.0, 0.0])), named_direction(np.array([0.4, -0.9, 0.1]))
    ('L', 'AL')
    """
    letters = (("L", "R"), ("P", "A"), ("H", "F"))
    order = np.argsort(-np.abs(axis_lps))
    return "".join(
        letters[k][0 if axis_lps[k] > 0 else 1] for k in order if abs(axis_lps[k]) > _TOLD_ABOVE
    )
