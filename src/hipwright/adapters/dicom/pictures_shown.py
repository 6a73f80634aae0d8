"""A stored DICOM file as a picture: levels with low dark, and a window to begin with."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset
from pydicom.pixels.processing import apply_color_lut

from hipwright.adapters.dicom.file_reading import PixelForm, decoded, parse, pixel_form, refused
from hipwright.adapters.dicom.header import number, numbers
from hipwright.engines.imaging.gray_levels import Pixels, Window, as_shown, luma, window_of
from hipwright.workflows.ports import Picture

LARGEST_LUT = 65536


def picture_of(content: bytes) -> Picture:
    """Decode a stored file and bring it to levels as shown.

    Raises
    ------
    ImportRefusedError
        The file is not a picture that can be shown.
    """
    dataset = parse(content)
    form = pixel_form(dataset)
    return shown(dataset, form, decoded(dataset))


def shown(dataset: Dataset, form: PixelForm, stored: Pixels) -> Picture:
    """Stored values through the modality transformation to levels (PS3.3 C.11.1, C.11.2)."""
    if form.photometric == "PALETTE COLOR":
        stored = apply_color_lut(stored, dataset)
    padding = None
    if stored.ndim == 3:
        values: Pixels = luma(stored)
        lowest, highest = 0.0, float(2 ** (8 * stored.itemsize) - 1)
    else:
        padding = _padding(dataset, stored)
        values, lowest, highest = _modality(dataset, form, stored)
    window = _window(dataset, values) or window_of(values, padding)
    gray = as_shown(
        values,
        lowest=lowest,
        highest=highest,
        inverted=form.photometric == "MONOCHROME1",
        window=window,
    )
    return Picture(
        pixels=gray.levels, window_center=gray.window.center, window_width=gray.window.width
    )


def _modality(dataset: Dataset, form: PixelForm, stored: Pixels) -> tuple[Pixels, float, float]:
    """Modality values and the range they can have."""
    if dataset.get("ModalityLUTSequence"):
        table, first = _table(dataset.ModalityLUTSequence[0], signed=form.signed)
        place = np.clip(stored.astype(np.int64) - first, 0, len(table) - 1)
        return table[place], float(table.min()), float(table.max())
    slope, intercept = number(dataset, "RescaleSlope"), number(dataset, "RescaleIntercept")
    slope = 1.0 if slope is None or slope == 0.0 else slope
    intercept = intercept or 0.0
    bits = form.bits_stored
    low, high = (-(1 << bits - 1), (1 << bits - 1) - 1) if form.signed else (0, (1 << bits) - 1)
    ends = sorted((low * slope + intercept, high * slope + intercept))
    if slope == 1.0 and intercept == 0.0:
        return stored, ends[0], ends[1]
    values = stored.astype(np.float32) * np.float32(slope) + np.float32(intercept)
    return values, ends[0], ends[1]


def _table(item: Dataset, *, signed: bool) -> tuple[Pixels, int]:
    """A lookup table and the stored value its first entry stands for."""
    try:
        count, first, bits = (int(x) for x in item.LUTDescriptor)
        count = count or LARGEST_LUT
        data = item.LUTData
        if isinstance(data, bytes):
            wide = len(data) >= 2 * count
            data = np.frombuffer(data, dtype="<u2" if wide else "u1")
        table = np.asarray(data).astype(np.int64).ravel()[:count] & ((1 << min(bits, 16)) - 1)
    except (AttributeError, TypeError, ValueError) as problem:
        raise refused("Its modality table cannot be read.") from problem
    if table.size < 1:
        raise refused("Its modality table is empty.")
    if signed and first > 32767:
        first -= LARGEST_LUT
    return table.astype(np.uint16), first


def _window(dataset: Dataset, values: Pixels) -> Window | None:
    """The sender's first window, or the range over which its VOI table rises."""
    centers, widths = numbers(dataset, "WindowCenter"), numbers(dataset, "WindowWidth")
    if centers and widths and widths[0] >= 1:
        return Window(center=centers[0], width=widths[0])
    if not dataset.get("VOILUTSequence"):
        return None
    try:
        table, first = _table(dataset.VOILUTSequence[0], signed=bool((values < 0).any()))
    except Exception:  # noqa: BLE001, RUF100 - a broken table is no reason to lose the picture
        return None
    rises = np.flatnonzero((table > table.min()) & (table < table.max()))
    if rises.size < 2:
        return None
    low, high = first + int(rises[0]), first + int(rises[-1])
    return Window(center=(low + high) / 2, width=float(high - low))


def _padding(dataset: Dataset, stored: Pixels) -> NDArray[np.bool_] | None:
    """Pixels that only fill the frame (PS3.3 C.7.5.1.1.2)."""
    one = number(dataset, "PixelPaddingValue")
    if one is None:
        return None
    other = number(dataset, "PixelPaddingRangeLimit")
    low, high = sorted((one, one if other is None else other))
    return (stored >= low) & (stored <= high)
