"""Twelve-bit lossy JPEG (process 4), which no permissive codec here decodes.

Sequential, Huffman-coded, one component: how detectors of 12 bits compress
with loss (DICOM PS3.5 section 8.2.1 and Annex A.4.1; ITU-T T.81). Registered
as a decoder of pydicom, so that every reader of the project gains it.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pydicom.pixels.decoders.base import JPEGExtended12BitDecoder
from pydicom.uid import JPEGExtended12Bit

from hipwright.adapters.dicom.huffman_scan import ZIGZAG, CodeTable, code_table, decode_scan

if TYPE_CHECKING:
    from pydicom.pixels.decoders.base import DecodeRunner

SOF0, SOF1, DHT, SOS, DQT, DRI, EOI = 0xC0, 0xC1, 0xC4, 0xDA, 0xDB, 0xDD, 0xD9
OTHER_FRAMES = {0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF}
DECODER_DEPENDENCIES = {JPEGExtended12Bit: ("numba",)}
"""What pydicom names where a decoder is missing."""


@dataclass(slots=True)
class _Frame:
    """What the segments before the scan say."""

    precision: int = 0
    rows: int = 0
    columns: int = 0
    quantization: int = 0
    restart: int = 0
    steps: dict[int, NDArray[np.int64]] = field(default_factory=dict)
    dc: dict[int, CodeTable] = field(default_factory=dict)
    ac: dict[int, CodeTable] = field(default_factory=dict)


def is_available(uid: str) -> bool:
    """Whether this decodes that transfer syntax."""
    return uid == JPEGExtended12Bit


def decode_frame(source: bytes, runner: DecodeRunner) -> bytes:
    """Decode one frame for pydicom."""
    levels = decoded_jpeg(source)
    if levels.shape != (runner.rows, runner.columns):
        raise ValueError("the picture is not as large as the header says")
    runner.set_option("bits_allocated", 16)
    return levels.astype("<u2").tobytes()


def decoded_jpeg(source: bytes) -> NDArray[np.uint16]:
    """Rows × columns of a sequential Huffman-coded JPEG of one component, 8 or 12 bits.

    Raises
    ------
    ValueError
        Another kind of JPEG, or a stream that breaks off.
    """
    frame = _Frame()
    for marker, payload, end in _segments(source):
        if marker in {SOF0, SOF1}:
            _read_frame(frame, payload)
        elif marker in OTHER_FRAMES:
            raise ValueError("not a sequential Huffman-coded JPEG")
        elif marker == DQT:
            _read_steps(frame, payload)
        elif marker == DHT:
            _read_codes(frame, payload)
        elif marker == DRI:
            (frame.restart,) = struct.unpack(">H", payload[:2])
        elif marker == SOS:
            return _picture(frame, payload, source[end:])
    raise ValueError("a JPEG without a scan")


def _segments(source: bytes) -> Iterator[tuple[int, bytes, int]]:
    position = source.index(b"\xff\xd8") + 2
    while position + 4 <= len(source):
        if source[position] != 0xFF:
            raise ValueError("no marker where one must be")
        marker = source[position + 1]
        if marker == 0xFF:
            position += 1
            continue
        end = position + 2 + int.from_bytes(source[position + 2 : position + 4], "big")
        yield marker, source[position + 4 : end], end
        position = end


def _read_frame(frame: _Frame, payload: bytes) -> None:
    frame.precision, frame.rows, frame.columns, components = struct.unpack(">BHHB", payload[:6])
    if components != 1 or frame.precision not in {8, 12} or not frame.rows or not frame.columns:
        raise ValueError("not a gray JPEG of 8 or 12 bits")
    frame.quantization = payload[8]


def _read_steps(frame: _Frame, payload: bytes) -> None:
    while payload:
        wide, table = payload[0] >> 4, payload[0] & 15
        size = 128 if wide else 64
        values = np.frombuffer(payload[1 : 1 + size], ">u2" if wide else "u1").astype(np.int64)
        steps = np.zeros(64, np.int64)
        steps[ZIGZAG] = values
        frame.steps[table] = steps
        payload = payload[1 + size :]


def _read_codes(frame: _Frame, payload: bytes) -> None:
    while payload:
        is_ac, table = payload[0] >> 4, payload[0] & 15
        counts = payload[1:17]
        total = sum(counts)
        if len(payload) < 17 + total:
            raise ValueError("a code table breaks off")
        tables = frame.ac if is_ac else frame.dc
        tables[table] = code_table(counts, payload[17 : 17 + total])
        payload = payload[17 + total :]


def _picture(frame: _Frame, scan: bytes, coded: bytes) -> NDArray[np.uint16]:
    if scan[0] != 1 or frame.precision == 0:
        raise ValueError("not a scan of one component")
    dc, ac = frame.dc[scan[2] >> 4], frame.ac[scan[2] & 15]
    down, across = -(-frame.rows // 8), -(-frame.columns // 8)
    data = np.frombuffer(coded, np.uint8)
    coefficients, read = decode_scan(data, down * across, frame.restart, dc, ac, ZIGZAG)
    if read < down * across:
        raise ValueError("the picture breaks off")
    scaled = (coefficients * frame.steps[frame.quantization]).reshape(-1, 8, 8)
    turn = _cosines()
    values = turn.T @ scaled @ turn + (1 << (frame.precision - 1))
    whole = values.reshape(down, across, 8, 8).swapaxes(1, 2).reshape(8 * down, 8 * across)
    levels = np.clip(np.rint(whole), 0, (1 << frame.precision) - 1)
    return levels[: frame.rows, : frame.columns].astype(np.uint16)


def _cosines() -> NDArray[np.float64]:
    """The matrix of the discrete cosine transform (T.81 section A.3.3)."""
    frequency, place = np.mgrid[:8, :8]
    matrix = np.cos((2 * place + 1) * frequency * np.pi / 16) / 2
    matrix[0] /= np.sqrt(2)
    return matrix


def register() -> None:
    """Tell pydicom of this decoder, once."""
    if "hipwright" not in JPEGExtended12BitDecoder.available_plugins:
        JPEGExtended12BitDecoder.add_plugin("hipwright", (__name__, "decode_frame"))
