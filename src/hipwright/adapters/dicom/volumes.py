"""Kept series as volumes: slices put on their grid, values in Hounsfield units."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset

from hipwright.adapters.dicom.file_reading import PLAIN, decoded, parse
from hipwright.adapters.dicom.slice_headers import (
    SliceHeader,
    refuse_mixed,
    refuse_other_units,
    refused,
    slice_header,
    values_of,
)
from hipwright.domain.errors import ImportRefusedError
from hipwright.domain.keeping import Image, ImageKind
from hipwright.domain.volume import Modality, Volume, VolumeGrid
from hipwright.engines.imaging.slice_blocks import SliceBlock, blocks_of
from hipwright.workflows.ports import Progress, SeriesPlace

LOWEST_HU = -1024
HIGHEST = int(np.iinfo(np.int16).max)
LEANING_DEG = 0.5
"""From here on a stack is told to be tilted (judgment)."""

THICK_SHARE = 1.25
"""Slices so much thicker than their distance overlap (judgment)."""

GetFile = Callable[[str], bytes]


class DicomVolumeReader:
    """Reads kept CT and MR series (the port ``VolumeReader``)."""

    def read(self, image: Image, get_file: GetFile, progress: Progress) -> tuple[Volume, ...]:
        """Blocks of even slices, from below upward; see :class:`~hipwright.workflows.ports`."""
        _refuse_others(image)
        headers: list[SliceHeader] = []
        values: NDArray[np.int16] = np.empty(
            (len(image.files), image.rows, image.columns), np.int16
        )
        for number, (header, stored) in enumerate(_slices(image, get_file)):
            progress("reading slices", number, len(image.files))
            if stored.shape != values.shape[1:]:
                refuse_mixed([*headers, header])
                raise refused(
                    f"a slice of {stored.shape} pixels",
                    f"{values.shape[1:]} as the series says",
                    "Import the series again.",
                )
            headers.append(header)
            _put(values[number], stored, header)
        progress("reading slices", len(image.files), len(image.files))
        modality = _checked(headers, values)
        positions = np.array([h.position for h in headers])
        blocks = blocks_of(positions, np.array([h.orientation for h in headers]))
        return tuple(_volume(block, values, headers, modality, image) for block in blocks)

    def place(self, image: Image, get_file: GetFile) -> SeriesPlace | None:
        """Where a series lies, from its first and last slice; ``None`` if it does not say."""
        if image.kind is not ImageKind.SERIES:
            return None
        ends = [_header(get_file(digest)) for digest in (image.files[0], image.files[-1])]
        if any(len(h.position) != 3 or h.localizer for h in ends):
            return None
        heights = sorted(h.position[2] for h in ends)
        return SeriesPlace(
            frame=ends[0].frame or image.id,
            low_mm=heights[0],
            high_mm=heights[1],
            slices=len(image.files),
            thickness_mm=ends[0].thickness_mm,
            kernel=ends[0].kernel,
        )


def _refuse_others(image: Image) -> None:
    if image.kind is not ImageKind.SERIES:
        raise refused(
            f"a {image.kind.value}", "a CT or MR series of slices", "Choose a series of slices."
        )


def _slices(image: Image, get_file: GetFile) -> Iterator[tuple[SliceHeader, NDArray[np.generic]]]:
    for digest in image.files:
        dataset = _parsed(get_file(digest))
        header = slice_header(dataset)
        if header.form.samples != 1:
            raise refused("slices in color", "gray slices", "Choose the original series.")
        yield header, _stored(dataset, header)


def _header(content: bytes) -> SliceHeader:
    return slice_header(_parsed(content))


def _parsed(content: bytes) -> Dataset:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return parse(content)
    except ImportRefusedError as error:
        raise refused("a file that is no slice", "slices", "Import the series again.") from error


def _stored(dataset: Dataset, header: SliceHeader) -> NDArray[np.generic]:
    form = header.form
    if header.syntax in PLAIN and form.bits_allocated == 16:
        kind = "<i2" if form.signed else "<u2"
        count = form.rows * form.columns
        return np.frombuffer(dataset["PixelData"].value, kind, count).reshape(form.rows, -1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return decoded(dataset, raw=True)


def _put(target: NDArray[np.int16], stored: NDArray[np.generic], header: SliceHeader) -> None:
    """Write a slice's values into their place, rounded, kept within 16 bits."""
    slope, intercept = header.slope or 1.0, header.intercept or 0.0
    if slope == 1.0 and intercept == int(intercept):
        values = stored.astype(np.int32)
        values += int(intercept)
    else:
        values = values_of(stored, header)
    target[...] = np.clip(values, -HIGHEST - 1, HIGHEST)


def _checked(headers: list[SliceHeader], values: NDArray[np.int16]) -> Modality:
    refuse_mixed(headers)
    if headers[0].modality == Modality.MR.value:
        return Modality.MR
    if headers[0].modality != Modality.CT.value:
        raise refused(
            f"a series of the kind {headers[0].modality or 'unknown'}",
            "CT or MR",
            "Choose a CT or MR series.",
        )
    refuse_other_units(headers)
    np.maximum(values, LOWEST_HU, out=values)  # padding outside the field is air
    if int(values.min()) >= 0:
        raise refused(
            f"no value below 0 (the lowest is {int(values.min())})",
            "Hounsfield units, in which fat and air are negative",
            "Check that this is a CT: an MR sent as CT cannot be used here.",
        )
    return Modality.CT


def _volume(
    block: SliceBlock,
    values: NDArray[np.int16],
    headers: list[SliceHeader],
    modality: Modality,
    image: Image,
) -> Volume:
    first = headers[block.order[0]]
    row_mm, column_mm = first.pixel_spacing
    across, down = np.array(first.orientation[:3]), np.array(first.orientation[3:])
    # A step of the row index goes down a column, by the spacing between rows (PS3.3 10.7.1.3).
    steps = np.array([block.step_mm, down * row_mm, across * column_mm])
    chosen = _in_order(values, block.order)
    grid = VolumeGrid(
        shape=(len(chosen), image.rows, image.columns),
        origin_mm=block.origin_mm,
        steps_mm=steps,
        fixed_to=first.frame or image.id,
    )
    return Volume(
        values=chosen,
        grid=grid,
        modality=modality,
        kernel=first.kernel,
        slice_thickness_mm=first.thickness_mm,
        notes=tuple(_notes(block, first, modality)),
    )


def _in_order(values: NDArray[np.int16], order: tuple[int, ...]) -> NDArray[np.int16]:
    """The slices of a block; no copy where they lie in order already."""
    first, last = order[0], order[-1]
    if order == tuple(range(first, last + 1)):
        return values[first : last + 1]
    return np.ascontiguousarray(values[list(order)])


def _notes(block: SliceBlock, header: SliceHeader, modality: Modality) -> Iterator[str]:
    distance = float(np.linalg.norm(block.step_mm))
    if block.sideways_deg > LEANING_DEG:
        yield f"The gantry was tilted: the stack leans by {block.sideways_deg:.1f}°."
    thickness = header.thickness_mm
    if thickness is None:
        yield "The thickness of the slices is not told."
    elif thickness > THICK_SHARE * distance:
        yield f"Slices of {thickness:.2f} mm overlap: they are {distance:.2f} mm apart."
    elif distance > THICK_SHARE * thickness:
        yield f"Slices of {thickness:.2f} mm leave gaps: they are {distance:.2f} mm apart."
    if modality is Modality.CT and not header.kernel:
        yield "The reconstruction kernel is not told."
    if header.lossy:
        yield "The sender compressed the slices with loss."
