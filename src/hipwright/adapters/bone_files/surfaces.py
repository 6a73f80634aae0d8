"""A surface as a file, the same that the browser reads: counts, places, triangles.

``u32`` number of vertices, ``u32`` number of triangles, ``f32`` x y z of each vertex (mm),
``u32`` three vertices of each triangle; all little-endian, nothing else. Rounding to 32
bits moves a vertex a meter from the origin by at most 0.00003 mm.
"""

from __future__ import annotations

import struct

import numpy as np

from hipwright.domain.anatomy import Surface
from hipwright.domain.errors import SurfaceError
from hipwright.domain.frames import Frame

_HEAD = struct.Struct("<II")
_ROW = 12
"""Bytes of a vertex, and of a triangle."""


def surface_bytes(surface: Surface) -> bytes:
    """Write a surface; its frame is told by where the file is kept."""
    vertices, faces = surface.vertices.astype("<f4"), surface.faces.astype("<u4")
    return _HEAD.pack(len(vertices), len(faces)) + vertices.tobytes() + faces.tobytes()


def surface_from(content: bytes, frame: Frame) -> Surface:
    """Read a surface.

    Raises
    ------
    SurfaceError
        The bytes are no such file.
    """
    if len(content) < _HEAD.size:
        raise _damaged(f"{len(content)} bytes", f"at least {_HEAD.size}")
    vertices, faces = _HEAD.unpack_from(content)
    expected = _HEAD.size + _ROW * (vertices + faces)
    if len(content) != expected:
        raise _damaged(f"{len(content)} bytes", f"{expected} for {faces} triangles")
    split = _HEAD.size + _ROW * vertices
    corners = np.frombuffer(content, "<u4", offset=split).reshape(-1, 3)
    if len(corners) and int(corners.max()) >= vertices:
        raise _damaged(f"triangles of vertices up to {corners.max()}", f"up to {vertices - 1}")
    places = np.frombuffer(content, "<f4", count=3 * vertices, offset=_HEAD.size).reshape(-1, 3)
    return Surface(vertices=places.astype(np.float64), faces=corners.astype(np.int32), frame=frame)


def _damaged(found: str, needed: str) -> SurfaceError:
    return SurfaceError(
        "cannot read a bone's surface",
        found=found,
        needed=needed,
        next_step="Run `hipwright doctor`; make the bone models again if the file is damaged.",
    )
