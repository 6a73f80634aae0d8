"""Meshes come in from four formats and go out in three; other programs agree."""

from __future__ import annotations

import contextlib
import io
import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from hipwright.adapters.mesh_files.reading import MeshReader
from hipwright.adapters.mesh_files.writing import TOLD, glb_bytes, ply_bytes, stl_bytes
from hipwright.domain.anatomy import Surface
from hipwright.domain.errors import SurfaceError
from hipwright.domain.frames import Frame, FrameKind

AUTHORITIES = Path(__file__).parents[3] / "golden" / "authorities" / "vtp"
FRAME = Frame(FrameKind.PATIENT_LPS, "scan-1")
ROUNDING = 1e-5  # of 32-bit numbers near 100


def a_box() -> Surface:
    box = trimesh.creation.box(extents=(30.0, 20.0, 10.0))
    place = np.array([5.25, -7.5, 100.125])
    return Surface(vertices=box.vertices + place, faces=np.array(box.faces), frame=FRAME)


def same(found: Surface | trimesh.Trimesh, surface: Surface) -> None:
    vertices, faces = np.asarray(found.vertices), np.asarray(found.faces)
    ours = surface.vertices[surface.faces]
    theirs = vertices[faces]
    np.testing.assert_allclose(theirs.mean(axis=(0, 1)), ours.mean(axis=(0, 1)), atol=ROUNDING)
    key = np.lexsort(theirs.reshape(-1, 9).round(3).T)
    other = np.lexsort(ours.reshape(-1, 9).round(3).T)
    np.testing.assert_allclose(theirs[key], ours[other], atol=ROUNDING)


def opened(content: bytes, kind: str) -> trimesh.Trimesh:
    """What trimesh reads."""
    found = trimesh.load_mesh(io.BytesIO(content), file_type=kind, process=False)
    assert isinstance(found, trimesh.Trimesh)
    return found


def test_trimesh_reads_our_stl_and_ply_as_they_were_meant() -> None:
    same(opened(stl_bytes("femur_left", a_box()), "stl"), a_box())
    same(opened(ply_bytes("femur_left", a_box(), ("more",)), "ply"), a_box())


def test_files_say_name_unit_and_frame() -> None:
    stl = stl_bytes("femur_left", a_box())
    assert stl[:80].decode().strip() == f"hipwright femur_left; {TOLD}"
    assert not stl.startswith(b"solid")  # which would announce the text form
    head = ply_bytes("femur_left", a_box(), ("no medical device",)).split(b"end_header")[0]
    assert TOLD.encode() in head
    assert b"comment no medical device" in head


def test_trimesh_shows_our_glb_in_meters_upright_and_its_numbers_are_millimeters() -> None:
    content = glb_bytes({"femur_left": a_box(), "femur_right": a_box()}, {"caution": "careful"})
    scene = trimesh.load_scene(io.BytesIO(content), file_type="glb", process=False)
    assert set(scene.geometry) == {"femur_left", "femur_right"}
    inside = scene.geometry["femur_left"]
    assert isinstance(inside, trimesh.Trimesh)
    same(inside, a_box())
    low, high = scene.bounds
    # left, superior, anterior (posterior is negative) of the box's corners, in meters
    np.testing.assert_allclose(low, [-0.00975, 0.095125, -0.0025], atol=1e-7)
    np.testing.assert_allclose(high, [0.02025, 0.105125, 0.0175], atol=1e-7)
    size = struct.unpack_from("<I", content, 12)[0]
    told = json.loads(content[20 : 20 + size])
    assert told["nodes"][0]["extras"]["unit"] == "mm"
    assert told["asset"]["extras"]["caution"] == "careful"


@pytest.mark.parametrize("kind", ["stl", "ply", "obj"])
def test_what_trimesh_wrote_is_read_with_corners_joined(tmp_path: Path, kind: str) -> None:
    box = a_box()
    mesh = trimesh.Trimesh(box.vertices, box.faces, process=False)
    path = tmp_path / f"box.{kind.upper()}"
    written: Any = mesh.export(file_type=kind)
    path.write_bytes(written if isinstance(written, bytes) else written.encode())
    found = MeshReader().read(path)
    assert found.vertices.shape == (8, 3)
    surface = Surface(vertices=found.vertices, faces=found.faces, frame=FRAME)
    assert surface.is_closed
    assert surface.volume_mm3 == pytest.approx(6000.0, rel=1e-6)


@pytest.mark.parametrize("path", sorted(AUTHORITIES.glob("*.vtp")), ids=lambda path: path.stem)
def test_what_vtk_wrote_is_read_in_every_coding(path: Path) -> None:
    found = MeshReader().read(path)
    surface = Surface(vertices=found.vertices, faces=found.faces, frame=FRAME)
    assert surface.is_closed
    assert len(surface.faces) == (12 if path.stem.startswith("quads") else 192)
    assert abs(surface.volume_mm3) == pytest.approx(6000.0, rel=1e-6)
    np.testing.assert_allclose(surface.vertices.min(axis=0), [-9.75, -17.5, 95.125])


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.stl", b""),
        ("a.stl", b"solid nothing\nendsolid\n"),
        ("a.stl", bytes(80) + struct.pack("<I", 1000) + bytes(50)),
        ("a.ply", b"ply\nformat ascii 1.0\nend_header\n"),
        ("a.obj", b"rubbish\n"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 nan\nf 1 2 3\n"),
        ("a.vtp", b'<VTKFile type="ImageData"></VTKFile>'),
        ("a.vtp", b'<!DOCTYPE a [<!ENTITY b "c">]><VTKFile type="PolyData"></VTKFile>'),
        ("a.vtp", b'<VTKFile type="PolyData" compressor="vtkLZMADataCompressor"></VTKFile>'),
        ("a.vtp", b'<VTKFile type="PolyData"></VTKFile>'),
        ("a.vtp", b"<VTKFile"),
        ("a.docx", b"rubbish"),
    ],
)
def test_what_is_no_mesh_is_refused_in_words(tmp_path: Path, name: str, content: bytes) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(SurfaceError) as refusal:
        MeshReader().read(path)
    assert refusal.value.found
    assert refusal.value.next_step


def test_a_missing_file_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(SurfaceError, match="cannot be opened"):
        MeshReader().read(tmp_path / "none.stl")


@pytest.mark.parametrize("path", sorted(AUTHORITIES.glob("*.vtp")), ids=lambda path: path.stem)
def test_no_cut_or_turned_byte_of_a_vtp_raises_anything_but_a_refusal(
    tmp_path: Path, path: Path
) -> None:
    whole = path.read_bytes()
    random = np.random.default_rng(11)
    for number in range(60):
        broken = bytearray(whole)
        if number % 2:
            del broken[int(random.integers(10, len(whole))) :]
        else:
            broken[int(random.integers(len(whole)))] = int(random.integers(256))
        target = tmp_path / "broken.vtp"
        target.write_bytes(broken)
        with contextlib.suppress(SurfaceError):
            MeshReader().read(target)


def test_vtp_with_strips_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.vtp"
    path.write_bytes(
        b'<VTKFile type="PolyData"><PolyData><Piece NumberOfStrips="1"/></PolyData></VTKFile>'
    )
    with pytest.raises(SurfaceError, match="strips"):
        MeshReader().read(path)
