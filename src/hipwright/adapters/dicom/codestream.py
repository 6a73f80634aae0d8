"""Compressed pixel data, with everything taken out that is not needed to decode it.

A JPEG can carry a camera's notes (APPn) and comments (COM), a JPEG 2000
stream comments too, and anything may stand behind the end of an image. A name
can hide there, so none of it is stored. The coded image is not touched.

Notes
-----
Markers: ITU-T T.81 table B.1 (JPEG), T.87 (JPEG-LS), T.800 Annex A (JPEG
2000), from memory. Encapsulation: DICOM PS3.5 section A.4.
"""

from __future__ import annotations

from collections.abc import Iterator

from pydicom.uid import (
    JPEG2000TransferSyntaxes,
    JPEGLSTransferSyntaxes,
    JPEGTransferSyntaxes,
)

from hipwright.domain.errors import ImportRefusedError

SOI, EOI, SOS, COM = 0xD8, 0xD9, 0xDA, 0xFE
APP0, APP15 = 0xE0, 0xEF
KEPT_APPLICATION_SEGMENTS = {
    0xE0: b"JFIF\x00",  # says which color space
    0xEE: b"Adobe",  # says which color transform
    0xE8: b"mrfx",  # says which color transform, in JPEG-LS
}
KEPT_SEGMENT_BYTES = {0xE0: 16, 0xEE: 14, 0xE8: 9}
"""Longer ones carry a thumbnail or something else: cut or dropped."""

J2K_START = b"\xff\x4f\xff\x51"
JP2_BOX = b"\x00\x00\x00\x0cjP  "
J2K_COM, J2K_SOT = 0x64, 0x90


def cleaned_frame(frame: bytes, transfer_syntax: str) -> bytes:
    """One compressed frame without comments, application data and what follows its end.

    Raises
    ------
    ImportRefusedError
        The frame is not what its transfer syntax says, or breaks off in its header.
    """
    try:
        if transfer_syntax in JPEG2000TransferSyntaxes:
            return _cleaned_jpeg_2000(frame)
        if transfer_syntax in JPEGTransferSyntaxes or transfer_syntax in JPEGLSTransferSyntaxes:
            return _cleaned_jpeg(frame)
    except (IndexError, ValueError) as problem:
        raise ImportRefusedError(
            "cannot read the compressed picture",
            found="a stream that breaks off or is not in the form it claims",
            needed="a whole picture",
            next_step="Ask the sender for the file again.",
        ) from problem
    return frame


def _cleaned_jpeg(frame: bytes) -> bytes:
    start = frame.index(b"\xff\xd8")
    out = bytearray(b"\xff\xd8")
    position = start + 2
    while True:
        if frame[position] != 0xFF:
            raise ValueError("no marker where one must be")
        while frame[position + 1] == 0xFF:  # fill bytes
            position += 1
        marker = frame[position + 1]
        if marker == EOI:
            break
        length = int.from_bytes(frame[position + 2 : position + 4], "big")
        end = position + 2 + length
        if length < 2 or end > len(frame):
            raise ValueError("a segment breaks off")
        if _stays(marker, frame[position + 4 : end]):
            out += frame[position:end]
        position = end
        if marker == SOS:
            end = _end_of_scan(frame, position)
            out += frame[position:end]
            position = end
    out += b"\xff\xd9"
    return bytes(out)


def _stays(marker: int, payload: bytes) -> bool:
    if marker == COM:
        return False
    if APP0 <= marker <= APP15:
        sign = KEPT_APPLICATION_SEGMENTS.get(marker)
        short = len(payload) + 2 <= KEPT_SEGMENT_BYTES.get(marker, 0)
        return sign is not None and payload.startswith(sign) and short
    return True


def _end_of_scan(frame: bytes, position: int) -> int:
    """Where the entropy-coded bytes end: at the next marker that is no restart or stuffing."""
    while True:
        position = frame.index(b"\xff", position)
        following = frame[position + 1]
        if following < 0x80 or 0xD0 <= following <= 0xD7:  # stuffed byte or bit, restart
            position += 2
        elif following == 0xFF:
            position += 1
        else:
            return position


def _cleaned_jpeg_2000(frame: bytes) -> bytes:
    start = frame.index(J2K_START)  # a JP2 wrapper, if any, stays behind
    out = bytearray(frame[start : start + 2])
    position = start + 2
    while True:
        marker = frame[position + 1]
        if frame[position] != 0xFF:
            raise ValueError("no marker where one must be")
        if marker == J2K_SOT:
            break
        length = int.from_bytes(frame[position + 2 : position + 4], "big")
        end = position + 2 + length
        if length < 2 or end > len(frame):
            raise ValueError("a segment breaks off")
        if marker != J2K_COM:
            out += frame[position:end]
        position = end
    for tile_part in _tile_parts(frame, position):
        out += tile_part
    out += b"\xff\xd9"
    return bytes(out)


def _tile_parts(frame: bytes, position: int) -> Iterator[bytes]:
    """The coded tiles, up to the end of the stream; a comment in a tile's header goes too."""
    while frame[position : position + 2] == b"\xff\x90":
        length = int.from_bytes(frame[position + 6 : position + 10], "big")
        last = len(frame) - 2 if frame[-2:] == b"\xff\xd9" else len(frame)
        end = last if length == 0 else position + length
        if end > len(frame) or (length and length < 14):
            end = last  # broken off: the decoder says what is missing
        yield _without_tile_comments(frame[position:end])
        position = end


def _without_tile_comments(tile_part: bytes) -> bytes:
    header = bytearray(tile_part[:12])
    position = 12
    removed = 0
    while position + 4 <= len(tile_part) and tile_part[position + 1] != 0x93:  # SOD
        length = int.from_bytes(tile_part[position + 2 : position + 4], "big")
        segment = tile_part[position : position + 2 + length]
        if tile_part[position] != 0xFF or length < 2:
            return tile_part
        if tile_part[position + 1] == J2K_COM:
            removed += len(segment)
        else:
            header += segment
        position += 2 + length
    if removed == 0:
        return tile_part
    declared = int.from_bytes(header[6:10], "big")
    if declared:
        header[6:10] = (declared - removed).to_bytes(4, "big")
    return bytes(header) + tile_part[position:]
