"""One file of an import: parsed, parted from its identity, spooled, described."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from pydicom.dataset import Dataset

from hipwright.adapters.dicom.deidentification import parse_date, parted, shifted
from hipwright.adapters.dicom.file_reading import (
    PixelForm,
    StoredPixels,
    decoded,
    in_little_endian,
    parse,
    pixel_form,
    refused,
    stored_pixels,
)
from hipwright.adapters.dicom.file_writing import stored_bytes
from hipwright.adapters.dicom.header import film_scale_facts, number, numbers, spacing, text
from hipwright.adapters.dicom.objects import FOR_PROCESSING, MODALITY, TAKEN
from hipwright.adapters.dicom.people import People, Traveler, study_of
from hipwright.adapters.dicom.pixel_names import PixelsInDoubtError, looked_over
from hipwright.adapters.dicom.proposals import Proposal, propose
from hipwright.adapters.dicom.trade_words import cleaned_description
from hipwright.domain.keeping import ImageKind
from hipwright.engines.imaging.calibration import Calibrated, calibrate_film, calibrate_slices

SPACING_DIGITS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadFile:
    """What is known of one file once its bytes are de-identified."""

    content: bytes = field(repr=False)
    traveler: Traveler = field(repr=False)
    kind: ImageKind
    modality: str
    uid: str
    study_uid: str
    study_date: date | None
    study_label: str
    series_key: tuple[object, ...]
    form: PixelForm
    acquired_on: date | None
    proposal: Proposal
    calibrated: Calibrated
    position: tuple[float, ...] = ()
    orientation: tuple[float, ...] = ()
    parting: tuple[object, ...] = ()
    instance: float | None = None
    warnings: tuple[str, ...] = ()
    name: str = ""


def read_file(content: bytes, people: People, *, pixels_checked: bool) -> ReadFile:
    """Read one DICOM file and de-identify it.

    Raises
    ------
    ImportRefusedError
        The file is not taken in; the reason is the error's first sentence.
    PixelsInDoubtError
        A name may stand in its pixels, and nobody has looked.
    """
    dataset = parse(content)
    kind = TAKEN[str(dataset.SOPClassUID)]
    form = pixel_form(dataset)
    if not text(dataset, "SOPInstanceUID") or not study_of(dataset):
        raise refused("It does not identify itself (no SOP Instance or Study Instance UID).")
    if "StudyInstanceUID" not in dataset:
        dataset.StudyInstanceUID = study_of(dataset)
    modality = MODALITY.get(str(dataset.SOPClassUID), text(dataset, "Modality").upper() or "OT")
    pixels = stored_pixels(dataset, form)
    traveler = people.of(dataset)
    warnings = _warnings(dataset, modality)
    pixels = _looked_over(dataset, form, pixels, kind, warnings, pixels_checked=pixels_checked)
    little = in_little_endian(dataset)
    examined = pixels_checked or not _needs_no_look(dataset, kind)
    new = parted(little, traveler.disguise, pixels_clean=examined)
    proposal = propose(dataset, modality)
    return ReadFile(
        content=stored_bytes(new, pixels),
        traveler=traveler,
        kind=kind,
        modality=modality,
        uid=people.new_uid(text(dataset, "SOPInstanceUID")),
        study_uid=people.new_uid(study_of(dataset)),
        study_date=_day(dataset, traveler, "StudyDate", "SeriesDate", "AcquisitionDate"),
        study_label=cleaned_description(text(dataset, "StudyDescription")),
        series_key=_series_key(dataset, kind, form),
        form=form,
        acquired_on=_day(
            dataset, traveler, "AcquisitionDate", "ContentDate", "SeriesDate", "StudyDate"
        ),
        proposal=proposal,
        calibrated=_calibrated(dataset, kind),
        position=numbers(dataset, "ImagePositionPatient"),
        orientation=numbers(dataset, "ImageOrientationPatient"),
        parting=_parting(dataset),
        instance=number(dataset, "InstanceNumber"),
        warnings=(*warnings, *proposal.warnings),
    )


def _needs_no_look(dataset: Dataset, kind: ImageKind) -> bool:
    """Slices as the scanner made them bear no text (common practice); derived ones may.

    Their pixels are not examined one by one, so the stored file does not claim it.
    """
    made = text(dataset, "ImageType").upper()
    return kind is ImageKind.SERIES and "DERIVED" not in made and "SECONDARY" not in made


def _looked_over(
    dataset: Dataset,
    form: PixelForm,
    pixels: StoredPixels,
    kind: ImageKind,
    warnings: list[str],
    *,
    pixels_checked: bool,
) -> StoredPixels:
    declared = text(dataset, "BurnedInAnnotation").upper() == "YES"
    if pixels_checked or (_needs_no_look(dataset, kind) and not declared):
        return pixels
    if declared or kind is ImageKind.PICTURE:
        raise PixelsInDoubtError(
            "Its header says that text is drawn into the picture."
            if declared
            else "A captured screen or picture may show a name."
        )
    clean = looked_over(decoded(dataset), form, pixels)
    if clean is not pixels:
        warnings.append("Text drawn into the margin of the picture was painted over.")
    return clean


def _warnings(dataset: Dataset, modality: str) -> list[str]:
    said: list[str] = []
    if str(dataset.SOPClassUID) == FOR_PROCESSING:
        said.append("Raw detector data, not processed for viewing: edges may look different.")
    if text(dataset, "LossyImageCompression") == "01":
        said.append("The sender compressed the picture with loss.")
    if "LOCALIZER" in text(dataset, "ImageType").upper():
        said.append("An overview picture of the scanner, for orientation only.")
    header = text(dataset, "Modality").upper()
    if modality != header and header and modality not in {"OT", "SC"}:
        said.append(
            f"The header calls it {cleaned_description(header) or 'something else'}, "
            f"its class says {modality}."
        )
    return said


def _day(dataset: Dataset, traveler: Traveler, *keywords: str) -> date | None:
    for keyword in keywords:
        day = parse_date(text(dataset, keyword)[:10])
        if day is not None:
            return shifted(day, traveler.shift_days)
    return None


def _calibrated(dataset: Dataset, kind: ImageKind) -> Calibrated:
    if kind is ImageKind.SERIES:
        return calibrate_slices(spacing(dataset, "PixelSpacing"))
    return calibrate_film(film_scale_facts(dataset))


def _series_key(dataset: Dataset, kind: ImageKind, form: PixelForm) -> tuple[object, ...]:
    if kind is not ImageKind.SERIES:
        return (text(dataset, "SOPInstanceUID"),)
    return (
        text(dataset, "SeriesInstanceUID"),
        form.rows,
        form.columns,
        tuple(round(x, SPACING_DIGITS) for x in numbers(dataset, "PixelSpacing")),
        "LOCALIZER" in text(dataset, "ImageType").upper(),
    )


def _parting(dataset: Dataset) -> tuple[object, ...]:
    """What tells two slices in one place apart: pass, echo, time, kind of image."""
    return (
        number(dataset, "AcquisitionNumber"),
        number(dataset, "EchoTime"),
        number(dataset, "TemporalPositionIdentifier"),
        text(dataset, "ImageType"),
    )
