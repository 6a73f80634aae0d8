"""Surfaces as STL, PLY and GLB, in mm, with unit and frame said in the file."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping

import numpy as np

from hipwright.domain.anatomy import Surface

TOLD = "mm, patient_lps: +x left, +y posterior, +z superior"
"""What every exported file says of its numbers."""

_GLB_HEAD = struct.Struct("<4sII")
_CHUNK = struct.Struct("<I4s")
_ARRAY_BUFFER, _ELEMENT_BUFFER = 34962, 34963
_FLOAT, _UINT = 5126, 5125


def stl_bytes(name: str, surface: Surface) -> bytes:
    """Binary STL; the header's 80 bytes say name, unit and frame."""
    head = f"hipwright {name}; {TOLD}".encode("ascii", "replace")[:80].ljust(80)
    corners = surface.vertices[surface.faces].astype("<f4")
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    rows = np.zeros(
        len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("unused", "<u2")]
    )
    rows["normal"] = normals / np.where(lengths > 0, lengths, 1.0)
    rows["corners"] = corners
    return head + struct.pack("<I", len(corners)) + rows.tobytes()


def ply_bytes(name: str, surface: Surface, comments: tuple[str, ...] = ()) -> bytes:
    """Binary little-endian PLY; comments say name, unit, frame and more."""
    lines = [
        "ply",
        "format binary_little_endian 1.0",
        *(f"comment {text}" for text in (f"hipwright {name}", TOLD, *comments)),
        f"element vertex {len(surface.vertices)}",
        *(f"property float {axis}" for axis in "xyz"),
        f"element face {len(surface.faces)}",
        "property list uchar int vertex_indices",
        "end_header",
    ]
    head = "\n".join(lines).encode("ascii", "replace") + b"\n"
    faces = np.zeros(len(surface.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    faces["count"], faces["corners"] = 3, surface.faces
    return head + surface.vertices.astype("<f4").tobytes() + faces.tobytes()


def glb_bytes(surfaces: Mapping[str, Surface], extras: Mapping[str, str]) -> bytes:
    """One binary glTF 2.0 with a mesh a bone.

    Its numbers are mm in the scan's frame. glTF counts in meters with +Y up, so the node
    above the bones scales by 0.001 and turns: other programs show the true size.
    """
    body = bytearray()
    views: list[dict[str, int]] = []
    accessors: list[dict[str, object]] = []
    meshes: list[dict[str, object]] = []
    for name, surface in surfaces.items():
        vertices, faces = surface.vertices.astype("<f4"), surface.faces.astype("<u4")
        for data, target in ((vertices, _ARRAY_BUFFER), (faces, _ELEMENT_BUFFER)):
            views.append(
                {"buffer": 0, "byteOffset": len(body), "byteLength": data.nbytes, "target": target}
            )
            body += data.tobytes()
        accessors.append(
            {
                "bufferView": len(views) - 2,
                "componentType": _FLOAT,
                "count": len(vertices),
                "type": "VEC3",
                "min": vertices.min(axis=0).tolist(),
                "max": vertices.max(axis=0).tolist(),
            }
        )
        accessors.append(
            {
                "bufferView": len(views) - 1,
                "componentType": _UINT,
                "count": int(faces.size),
                "type": "SCALAR",
            }
        )
        part = {"attributes": {"POSITION": len(accessors) - 2}, "indices": len(accessors) - 1}
        meshes.append({"name": name, "primitives": [part]})
    bones = [{"name": str(mesh["name"]), "mesh": number} for number, mesh in enumerate(meshes)]
    root = {
        "name": "patient_lps in mm",
        "children": list(range(1, len(bones) + 1)),
        "matrix": _METERS_UPRIGHT,
        "extras": {"unit": "mm", "frame": TOLD},
    }
    told = {
        "asset": {"version": "2.0", "generator": "hipwright", "extras": {"frame": TOLD, **extras}},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [root, *bones],
        "meshes": meshes,
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(body)}],
    }
    text = json.dumps(told, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    body += bytes(-len(body) % 4)
    whole = _GLB_HEAD.size + 2 * _CHUNK.size + len(text) + len(body)
    return b"".join(
        (
            _GLB_HEAD.pack(b"glTF", 2, whole),
            _CHUNK.pack(len(text), b"JSON"),
            text,
            _CHUNK.pack(len(body), b"BIN\0"),
            bytes(body),
        )
    )


_METERS_UPRIGHT = [0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1]
"""Column by column: left stays +X, posterior becomes -Z, superior becomes +Y."""
