"""What the header of one stored slice says about its place in a volume and about its values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset

from hipwright.adapters.dicom.file_reading import PixelForm, pixel_form, transfer_syntax_of
from hipwright.adapters.dicom.header import number, numbers, text
from hipwright.adapters.dicom.objects import MODALITY
from hipwright.domain.errors import VolumeError

HOUNSFIELD = "HU"
CENTER_DIGITS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class SliceHeader:
    """One slice: where it lies, how its stored values become values, how it was made."""

    modality: str
    series: str
    frame: str
    position: tuple[float, ...]
    orientation: tuple[float, ...]
    pixel_spacing: tuple[float, ...]
    form: PixelForm
    syntax: str
    slope: float | None
    intercept: float | None
    unit: str
    kernel: str
    thickness_mm: float | None
    localizer: bool
    lossy: bool


def slice_header(dataset: Dataset) -> SliceHeader:
    """Read what matters from a parsed file."""
    thickness = number(dataset, "SliceThickness")
    return SliceHeader(
        modality=MODALITY.get(str(dataset.SOPClassUID), text(dataset, "Modality").upper()),
        series=text(dataset, "SeriesInstanceUID"),
        frame=text(dataset, "FrameOfReferenceUID"),
        position=numbers(dataset, "ImagePositionPatient"),
        orientation=numbers(dataset, "ImageOrientationPatient"),
        pixel_spacing=numbers(dataset, "PixelSpacing"),
        form=pixel_form(dataset),
        syntax=str(transfer_syntax_of(dataset)),
        slope=number(dataset, "RescaleSlope"),
        intercept=number(dataset, "RescaleIntercept"),
        unit=text(dataset, "RescaleType"),
        kernel=text(dataset, "ConvolutionKernel").replace("\\", " "),
        thickness_mm=thickness if thickness and thickness > 0 else None,
        localizer="LOCALIZER" in text(dataset, "ImageType").upper(),
        lossy=text(dataset, "LossyImageCompression") == "01",
    )


def refuse_mixed(headers: list[SliceHeader]) -> None:
    """Stop before slices that do not belong to one stack of one reconstruction.

    Raises
    ------
    VolumeError
        They differ in series, frame, spacing, size or kernel, or do not say where they lie.
    """
    if any(len(h.position) != 3 or len(h.orientation) != 6 for h in headers):
        raise refused(
            "slices that do not say where they lie",
            "Image Position and Image Orientation (Patient) in every slice",
            "Ask the sender for the original series.",
        )
    if any(len(h.pixel_spacing) != 2 or min(h.pixel_spacing) <= 0 for h in headers):
        raise refused(
            "slices without the size of their pixels",
            "Pixel Spacing in every slice",
            "Ask the sender for the original series.",
        )
    if any(h.localizer for h in headers):
        raise refused(
            "an overview picture of the scanner",
            "slices of a scan",
            "Choose the series of slices.",
        )
    for told, values in (
        ("series", {h.series for h in headers}),
        ("frames of reference", {h.frame for h in headers}),
        ("slice sizes", {(h.form.rows, h.form.columns) for h in headers}),
        (
            "pixel sizes",
            {tuple(round(x, CENTER_DIGITS) for x in h.pixel_spacing) for h in headers},
        ),
        ("reconstruction kernels", {h.kernel for h in headers}),
        ("kinds of image", {h.modality for h in headers}),
    ):
        if len(values) > 1:
            raise refused(
                f"slices of {len(values)} {told} mixed",
                "slices of one series, made in one way",
                "Import each series by itself.",
            )


def refuse_other_units(headers: list[SliceHeader]) -> None:
    """Stop before a CT whose values are not Hounsfield units.

    Rescale Type may be absent where the unit is HU (PS3.3 section C.8.2.1).

    Raises
    ------
    VolumeError
        The unit is another one, or the way to it is not told.
    """
    units = sorted({h.unit for h in headers if h.unit and h.unit != HOUNSFIELD})
    if units:
        raise refused(
            f"values in {' and '.join(units)}",
            "Hounsfield units (Rescale Type HU)",
            "Ask the sender for the series in Hounsfield units.",
        )
    if any(h.slope is None or h.intercept is None or h.slope <= 0 for h in headers):
        raise refused(
            "stored values without the way to Hounsfield units",
            "Rescale Slope and Rescale Intercept in every slice",
            "Ask the sender for the original series.",
        )


def values_of(stored: NDArray[np.generic], header: SliceHeader) -> NDArray[np.float32]:
    """Modality values where slope and intercept are not whole numbers, or the range is wide."""
    slope, intercept = header.slope or 1.0, header.intercept or 0.0
    return np.rint(stored.astype(np.float32) * np.float32(slope) + np.float32(intercept))


def refused(found: str, needed: str, next_step: str) -> VolumeError:
    """A refusal to make a volume."""
    return VolumeError(
        "cannot make a volume of the series", found=found, needed=needed, next_step=next_step
    )
