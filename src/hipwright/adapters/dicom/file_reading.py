"""From bytes to a data set that can be trusted to hold one whole picture."""

from __future__ import annotations

import hashlib
import io
import logging
from dataclasses import dataclass

import numpy as np
from pydicom import config, dcmread, dcmwrite
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset, FileDataset
from pydicom.encaps import encapsulate, get_frame
from pydicom.pixels.utils import pixel_array
from pydicom.uid import (
    UID,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEG2000TransferSyntaxes,
    JPEGExtended12Bit,
    JPEGLSTransferSyntaxes,
    JPEGTransferSyntaxes,
    RLELossless,
)

from hipwright.adapters.dicom.codestream import cleaned_frame
from hipwright.adapters.dicom.objects import why_not
from hipwright.domain.errors import ImportRefusedError
from hipwright.engines.imaging.gray_levels import Pixels

logging.getLogger("pydicom").setLevel(logging.CRITICAL)  # its notes quote values of the header
config.settings.reading_validation_mode = config.IGNORE  # strangers' files: judged here, below

PREAMBLE = 128
PIXEL_DATA = 0x7FE00010
LARGEST_SIDE = 20_000
LARGEST_PICTURE = 250_000_000
"""Pixels. A film of 43 × 43 cm at 0.1 mm has 19 million (judgment)."""

BITS_TAKEN = {8, 16}
COMPRESSED = {
    *JPEGTransferSyntaxes,
    *JPEGLSTransferSyntaxes,
    *JPEG2000TransferSyntaxes,
    RLELossless,
}
PLAIN = {
    ImplicitVRLittleEndian,
    ExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    UID("1.2.840.10008.1.2.1.99"),  # deflated: inflated on reading
}
GRAY = {"MONOCHROME1", "MONOCHROME2"}
COLOR_SAMPLES = 3


def refused(reason: str) -> ImportRefusedError:
    """A refusal whose reason is one sentence for the list of rejected files."""
    return ImportRefusedError(reason.rstrip("."))


def looks_like_dicom(head: bytes) -> bool:
    """Whether a file that begins so can be DICOM, with or without its preamble."""
    if head[PREAMBLE : PREAMBLE + 4] == b"DICM":
        return True
    return head[:2] in {b"\x02\x00", b"\x08\x00"} and head[3:4] == b"\x00" and len(head) > 8


def parse(content: bytes) -> FileDataset:
    """Read a data set of one of the kinds that are taken in.

    Raises
    ------
    ImportRefusedError
        Not DICOM, broken off, or an object of another kind.
    """
    if not looks_like_dicom(content[: PREAMBLE + 8]):
        raise refused("Not a DICOM file.")
    try:
        dataset = dcmread(io.BytesIO(content), force=True)
        sop_class = _sop_class(dataset)
    except Exception as problem:  # a hostile file can raise anything
        raise refused("Broken off or damaged: its header cannot be read.") from problem
    if not sop_class and len(dataset) == 0:
        raise refused("Not a DICOM file, or one that breaks off at once.")
    reason = why_not(sop_class)
    if reason is not None:
        raise refused(reason)
    dataset.SOPClassUID = sop_class
    return dataset


def _sop_class(dataset: FileDataset) -> str:
    said = dataset.get("SOPClassUID") or dataset.file_meta.get("MediaStorageSOPClassUID")
    return str(said or "")


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelForm:
    """The shape of a picture's stored values."""

    rows: int
    columns: int
    samples: int
    bits_allocated: int
    bits_stored: int
    signed: bool
    photometric: str

    @property
    def expected_bytes(self) -> int:
        """How long uncompressed pixel data must be."""
        whole = self.rows * self.columns * self.samples * self.bits_allocated // 8
        return whole * 2 // 3 if self.photometric == "YBR_FULL_422" else whole


def pixel_form(dataset: Dataset) -> PixelForm:
    """The shape, checked.

    Raises
    ------
    ImportRefusedError
        There is no picture, more than one, or one of an absurd or unread form.
    """
    if "PixelData" not in dataset:
        other = {"FloatPixelData", "DoubleFloatPixelData"} & set(dataset.dir())
        raise refused(
            "Its pixels are floating-point numbers, which are not read."
            if other
            else "It has no pixel data."
        )
    frames = _whole(dataset, "NumberOfFrames", default=1)
    if frames != 1:
        raise refused(f"It holds {frames} frames; only single pictures are read.")
    form = PixelForm(
        rows=_whole(dataset, "Rows"),
        columns=_whole(dataset, "Columns"),
        samples=_whole(dataset, "SamplesPerPixel", default=1),
        bits_allocated=_whole(dataset, "BitsAllocated"),
        bits_stored=_whole(dataset, "BitsStored"),
        signed=_whole(dataset, "PixelRepresentation", default=0) == 1,
        photometric=str(dataset.get("PhotometricInterpretation", "") or "").strip(),
    )
    sides = (form.rows, form.columns)
    if min(sides) < 1 or max(sides) > LARGEST_SIDE or form.rows * form.columns > LARGEST_PICTURE:
        raise refused(f"A picture of {form.columns} × {form.rows} pixels is absurd.")
    if form.bits_allocated not in BITS_TAKEN or not 1 <= form.bits_stored <= form.bits_allocated:
        raise refused(
            f"{form.bits_stored} bits in {form.bits_allocated} a pixel are not read (8 to 16 are)."
        )
    if form.samples not in {1, COLOR_SAMPLES} or not form.photometric:
        raise refused("It does not say how its pixels are to be shown.")
    if (form.samples == 1) != (form.photometric in GRAY | {"PALETTE COLOR"}):
        raise refused(f"{form.samples} samples a pixel contradict {form.photometric}.")
    return form


def _whole(dataset: Dataset, keyword: str, default: int | None = None) -> int:
    try:
        value = dataset.get(keyword)
        if value is None or value == "":
            if default is None:
                raise refused(f"It does not give {keyword}.")
            return default
        return int(value)
    except (ValueError, TypeError, OverflowError) as problem:
        raise refused(f"Its {keyword} is no number.") from problem


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredPixels:
    """Pixel data as it is kept: the same picture, in a plain or the sender's coding."""

    transfer_syntax: UID
    value: bytes
    vr: str


def transfer_syntax_of(dataset: Dataset) -> UID:
    """How the file is coded, guessed from how it could be read where it does not say.

    Raises
    ------
    ImportRefusedError
        The coding is unknown or not read.
    """
    said = dataset.file_meta.get("TransferSyntaxUID") if hasattr(dataset, "file_meta") else None
    if said:
        syntax = UID(str(said))
    else:
        implicit, little = dataset.original_encoding
        syntax = ImplicitVRLittleEndian if implicit else ExplicitVRLittleEndian
        if little is False:
            syntax = ExplicitVRBigEndian
    if syntax in PLAIN or syntax in COMPRESSED:
        return syntax
    name = syntax.name if syntax.is_transfer_syntax else "an unknown coding"
    raise refused(f"Its coding is not read: {name}.")


def stored_pixels(dataset: Dataset, form: PixelForm) -> StoredPixels:
    """The pixel data to keep: nothing lost, nothing behind the picture, no notes in it.

    Raises
    ------
    ImportRefusedError
        The pixel data is shorter than the picture or cannot be decoded.
    """
    syntax = transfer_syntax_of(dataset)
    try:
        value = dataset["PixelData"].value
    except Exception as problem:
        raise refused("Its pixel data cannot be read.") from problem
    if syntax in COMPRESSED:
        return _compressed(dataset, syntax, value)
    expected = form.expected_bytes
    if not isinstance(value, bytes) or len(value) < expected:
        found = len(value) if isinstance(value, bytes) else 0
        raise refused(f"Truncated: its picture needs {expected} bytes, {found} are there.")
    if syntax == ExplicitVRBigEndian and (form.bits_allocated > 8 or _vr(dataset) == "OW"):
        value = _turned(value)
    return plain_pixels(_without_high_bits(value[:expected], form), form)


def _vr(dataset: Dataset) -> str:
    return str(dataset["PixelData"].VR)


def _turned(value: bytes) -> bytes:
    """Words of two bytes the other way round (PS3.5 section 7.3)."""
    whole = len(value) // 2 * 2
    return np.frombuffer(value[:whole], ">u2").astype("<u2").tobytes() + value[whole:]


def plain_pixels(value: bytes, form: PixelForm) -> StoredPixels:
    """Uncompressed pixel data of that form, little endian."""
    return StoredPixels(
        transfer_syntax=ExplicitVRLittleEndian,
        value=value + b"\0" * (len(value) % 2),
        vr="OW" if form.bits_allocated > 8 else "OB",
    )


def pixels_sha256(dataset: Dataset) -> str:
    """The digest of a file's stored values, by which a second import knows them again.

    Raises
    ------
    ImportRefusedError
        The picture cannot be decoded.
    """
    syntax = transfer_syntax_of(dataset)
    if syntax in COMPRESSED:
        return _digest(decoded(dataset, raw=True))
    value = dataset["PixelData"].value
    return hashlib.sha256(value[: pixel_form(dataset).expected_bytes]).hexdigest()


def stored_sha256(content: bytes) -> str:
    """The digest of a whole file's stored values."""
    return pixels_sha256(parse(content))


def _digest(pixels: Pixels) -> str:
    little = pixels.astype(pixels.dtype.newbyteorder("<"), copy=False)
    return hashlib.sha256(np.ascontiguousarray(little).data).hexdigest()


def in_little_endian(dataset: Dataset) -> Dataset:
    """The same data set, pixel data left out, in little endian.

    Raises
    ------
    ImportRefusedError
        It cannot be written the other way round.
    """
    if dataset.original_encoding[1] is not False:
        return dataset
    try:
        buffer = io.BytesIO()
        tags = [tag for tag in dataset.keys() if tag != PIXEL_DATA]  # noqa: SIM118 - raw, not converted
        rest = Dataset({tag: dataset.get_item(tag) for tag in tags})
        rest.set_original_encoding(*dataset.original_encoding)
        rest.decode()
        for element in rest.iterall():
            _turn_words(element)
        dcmwrite(buffer, rest, implicit_vr=False, little_endian=True, enforce_file_format=False)
        return dcmread(io.BytesIO(buffer.getvalue()), force=True)
    except Exception as problem:
        raise refused("Its big-endian header cannot be read.") from problem


def _turn_words(element: DataElement) -> None:
    """Words of two bytes are not turned by the library."""
    if element.VR == "OW" and isinstance(element.value, bytes):
        element.value = _turned(element.value)


def _compressed(dataset: Dataset, syntax: UID, value: object) -> StoredPixels:
    if not isinstance(value, bytes) or not value:
        raise refused("Its pixel data is empty.")
    try:
        frame = get_frame(value, 0, number_of_frames=1)
    except Exception as problem:
        raise refused("Truncated: its compressed picture breaks off.") from problem
    frame = cleaned_frame(frame, syntax)
    dataset["PixelData"].value = kept = encapsulate([frame])
    decoded(dataset, raw=True)  # it must open, or it is not kept
    return StoredPixels(transfer_syntax=syntax, value=kept, vr="OB")


def _without_high_bits(value: bytes, form: PixelForm) -> bytes:
    """Bits above the stored ones once held overlays: they are written as sign or zero."""
    spare = 16 - form.bits_stored
    if form.bits_allocated != 16 or spare == 0:
        return value
    stored = np.frombuffer(value, dtype="<u2")
    if form.signed:
        clean = ((stored << spare).view("<i2") >> spare).view("<u2")
    else:
        clean = stored & np.uint16((1 << form.bits_stored) - 1)
    return value if np.array_equal(clean, stored) else clean.tobytes()


def decoded(dataset: Dataset, *, raw: bool = False) -> Pixels:
    """The stored values as rows × columns, with a third axis where there is color.

    Color comes as red, green and blue, unless the ``raw`` samples are asked for.

    Raises
    ------
    ImportRefusedError
        The picture cannot be decoded, or is not as large as it claims.
    """
    if transfer_syntax_of(dataset) == JPEGExtended12Bit:
        from hipwright.adapters.dicom.jpeg_extended import register

        register()
    try:
        pixels = pixel_array(dataset, index=0, raw=raw)
    except Exception as problem:  # decoders raise what they like
        raise refused("Its picture cannot be decoded: truncated or damaged.") from problem
    if pixels.shape[:2] != (dataset.Rows, dataset.Columns):
        raise refused("Its picture is not as large as its header says.")
    return pixels
