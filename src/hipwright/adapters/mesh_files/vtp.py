"""VTK XML PolyData (.vtp): ascii, base64 and appended arrays, with or without zlib.

Written from memory of the format's public description ("VTK XML formats") and checked on
files that VTK 9.7 itself wrote (``tests/golden/authorities/vtp``). Strips are refused; lines
and lone points are left out.
"""

from __future__ import annotations

import base64
import re
import zlib
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import SurfaceError

Floats = NDArray[np.float64]
Numbers = NDArray[np.generic]

TYPES = {
    "Int8": "i1", "UInt8": "u1", "Int16": "i2", "UInt16": "u2", "Int32": "i4", "UInt32": "u4",
    "Int64": "i8", "UInt64": "u8", "Float32": "f4", "Float64": "f8",
}  # fmt: skip
ZLIB = "vtkZLibDataCompressor"
LARGEST = 1 << 31
TRIANGLE = 3

_APPENDED = re.compile(rb"<AppendedData[^>]*>\s*_", re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Coding:
    """How the arrays of a file are written."""

    order: str
    header: str
    packed: bool
    appended: bytes
    appended_raw: bool


def read_vtp(content: bytes) -> tuple[Floats, NDArray[np.int64]]:
    """Points and triangles; polygons with more corners are parted into triangles.

    Raises
    ------
    SurfaceError
        The file is of another kind, or coded in a way that is not read.
    ValueError
        The file is damaged.
    """
    head, appended, raw = _parted(content)
    if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
        raise _refused("a document type", "a plain VTP file")
    root = ET.fromstring(head)  # noqa: S314 (no document type, so nothing expands)
    if root.tag != "VTKFile" or root.get("type") != "PolyData":
        raise _refused(f"a VTK file of the kind {root.get('type')}", "PolyData")
    compressor = root.get("compressor", "")
    if compressor not in {"", ZLIB}:
        raise _refused(f"arrays packed by {compressor}", "zlib, or arrays that are not packed")
    coding = _Coding(
        order="<" if root.get("byte_order", "LittleEndian") == "LittleEndian" else ">",
        header=TYPES[root.get("header_type", "UInt32")],
        packed=bool(compressor),
        appended=appended,
        appended_raw=raw,
    )
    points: list[Floats] = []
    triangles: list[NDArray[np.int64]] = []
    count = 0
    for piece in root.iter("Piece"):
        if int(piece.get("NumberOfStrips", "0")):
            raise _refused("triangle strips", "triangles or polygons")
        own, faces = _piece(piece, coding)
        points.append(own)
        triangles.append(faces + count)
        count += len(own)
    if not points:
        raise _refused("no piece", "a surface")
    return np.concatenate(points), np.concatenate(triangles)


def _parted(content: bytes) -> tuple[bytes, bytes, bool]:
    """The XML without appended bytes, those bytes, and whether they are raw."""
    found = _APPENDED.search(content)
    if found is None:
        return content, b"", False
    end = content.rindex(b"</AppendedData>")
    raw = b'encoding="base64"' not in found.group(0)
    data = content[found.end() : end]
    return content[: found.end()] + content[end:], data, raw


def _piece(piece: ET.Element, coding: _Coding) -> tuple[Floats, NDArray[np.int64]]:
    points = _array(piece.find("Points/DataArray"), coding).astype(np.float64).reshape(-1, 3)
    if len(points) != int(piece.get("NumberOfPoints", len(points))):
        raise ValueError
    named = {a.get("Name"): a for a in piece.findall("Polys/DataArray")}
    corners = _array(named.get("connectivity"), coding).astype(np.int64)
    ends = _array(named.get("offsets"), coding).astype(np.int64)
    return points, _fans(corners, ends)


def _fans(corners: NDArray[np.int64], ends: NDArray[np.int64]) -> NDArray[np.int64]:
    """Triangles of polygons, each parted from its first corner."""
    starts = np.concatenate([[0], ends[:-1]])
    sizes = ends - starts
    if len(ends) and (sizes.min() < TRIANGLE or ends[-1] != len(corners)):
        raise ValueError
    rows: list[NDArray[np.int64]] = []
    for k in range(2, int(sizes.max(initial=0))):
        first = starts[sizes > k]
        rows.append(np.column_stack([corners[first], corners[first + k - 1], corners[first + k]]))
    return np.concatenate(rows) if rows else np.empty((0, 3), np.int64)


def _array(element: ET.Element | None, coding: _Coding) -> Numbers:
    if element is None:
        raise ValueError
    kind = np.dtype(coding.order + TYPES[element.get("type", "")])
    match element.get("format"):
        case "ascii":
            words = np.array((element.text or "").split())
            return words.astype(np.float64).astype(kind) if len(words) else np.empty(0, kind)
        case "binary":
            return np.frombuffer(_from_base64((element.text or "").encode(), coding), kind)
        case "appended":
            data = coding.appended[int(element.get("offset", "0")) :]
            plain = _from_raw(data, coding) if coding.appended_raw else _from_base64(data, coding)
            return np.frombuffer(plain, kind)
        case other:
            raise _refused(f"arrays written as {other}", "ascii, binary or appended")


def _from_raw(data: bytes, coding: _Coding) -> bytes:
    width = np.dtype(coding.header).itemsize
    if not coding.packed:
        size = _counts(data[:width], coding)[0]
        return _whole(data[width : width + size], size)
    blocks = _counts(data[:width], coding)[0]
    head = _counts(data[: width * (3 + _sane(blocks))], coding)
    return _unpacked(data[width * len(head) :], head)


def _from_base64(text: bytes, coding: _Coding) -> bytes:
    """The header is coded by itself where the arrays are packed, else with its array."""
    text = text.strip()
    width = np.dtype(coding.header).itemsize
    if not coding.packed:
        size = _counts(base64.b64decode(text[: _coded(width)])[:width], coding)[0]
        plain = base64.b64decode(text[: _coded(width + _sane(size))])
        return _whole(plain[width : width + size], size)
    blocks = _counts(base64.b64decode(text[: _coded(width)])[:width], coding)[0]
    length = width * (3 + _sane(blocks))
    head = _counts(base64.b64decode(text[: _coded(length)])[:length], coding)
    body = text[_coded(length) :]
    return _unpacked(base64.b64decode(body[: _coded(int(sum(head[3:])))]), head)


def _coded(size: int) -> int:
    """How many base64 characters so many bytes take."""
    return (size + 2) // 3 * 4


def _counts(data: bytes, coding: _Coding) -> list[int]:
    return [int(n) for n in np.frombuffer(data, coding.order + coding.header)]


def _sane(size: int) -> int:
    if not 0 <= size <= LARGEST:
        raise ValueError
    return size


def _whole(data: bytes, size: int) -> bytes:
    if len(data) != size:
        raise ValueError
    return data


def _unpacked(data: bytes, head: list[int]) -> bytes:
    """Blocks of equal size, the last one shorter; ``head`` is count, size, last, packed sizes."""
    count, size, last = head[:3]
    parts: list[bytes] = []
    at = 0
    for number, packed in enumerate(head[3:]):
        expected = last if number == count - 1 and last else size
        unpacker = zlib.decompressobj()
        plain = unpacker.decompress(data[at : at + packed], _sane(expected) + 1)
        parts.append(_whole(plain, expected))
        at += packed
    return b"".join(parts)


def _refused(found: str, needed: str) -> SurfaceError:
    return SurfaceError(
        "cannot read the mesh",
        found=found,
        needed=needed,
        next_step="Export it again, as PLY or STL.",
        field="file",
    )
