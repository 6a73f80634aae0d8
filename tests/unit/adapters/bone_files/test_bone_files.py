"""Surfaces, labels and edits come back from their files; damaged ones are told plainly."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hipwright.adapters.bone_files.labeling import (
    EDITS,
    edits_bytes,
    edits_from,
    labels_bytes,
    labels_from,
)
from hipwright.adapters.bone_files.surfaces import surface_bytes, surface_from
from hipwright.domain.anatomy import Surface
from hipwright.domain.errors import SurfaceError, VolumeError
from hipwright.domain.frames import Frame, FrameKind
from hipwright.domain.volume import Cut, LabelEdits, LabelVolume, Seed, VolumeGrid

FRAME = Frame(FrameKind.PATIENT_LPS, "build-1")
ROUNDING_MM = 3.1e-5  # half the step of 32-bit numbers near 1000


def a_surface() -> Surface:
    rng = np.random.default_rng(3)
    faces = np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]])
    return Surface(vertices=rng.uniform(-1000, 1000, (4, 3)), faces=faces, frame=FRAME)


def some_labels(shape: tuple[int, int, int] = (4, 5, 6)) -> LabelVolume:
    grid = VolumeGrid(
        shape=shape,
        origin_mm=np.array([-10.1, 20.2, 1 / 3]),
        steps_mm=np.array([[0.0, 0.2, 1.0], [0.0, 0.7, 0.0], [0.7, 0.0, 0.0]]),
        fixed_to="2.25.7",
    )
    codes = np.random.default_rng(1).integers(0, 256, shape, dtype=np.uint8)
    return LabelVolume(codes=codes, grid=grid)


def some_edits() -> LabelEdits:
    return LabelEdits(
        voxels=np.array([0, 3, 119]),
        codes=np.array([1, 0, 255], dtype=np.uint8),
        shape=(4, 5, 6),
        cuts=(Cut(center_mm=(1.5, 1 / 3, -2.0), normal=(0.0, 0.6, 0.8), radius_mm=30.0),),
        seeds=(Seed(at_mm=(0.1, 0.2, 0.3), code=4), Seed(at_mm=(1.0, 2.0, 3.0), code=0)),
    )


def test_a_surface_comes_back_with_its_triangles_and_places_to_32_bits() -> None:
    surface = a_surface()
    back = surface_from(surface_bytes(surface), FRAME)
    np.testing.assert_array_equal(back.faces, surface.faces)
    np.testing.assert_allclose(back.vertices, surface.vertices, rtol=0, atol=ROUNDING_MM)
    assert back.frame == FRAME
    assert back.is_closed


def test_a_surface_file_is_what_the_browser_reads() -> None:
    """Counts, 32-bit floats, 32-bit indices, little-endian, and nothing else (DESIGN)."""
    content = surface_bytes(a_surface())
    assert struct.unpack_from("<II", content) == (4, 4)
    assert struct.unpack_from("<fff", content, 8) == pytest.approx(a_surface().vertices[0])
    assert struct.unpack_from("<III", content, 8 + 48) == (0, 1, 2)
    assert len(content) == 8 + 48 + 48


def test_writing_what_was_read_gives_the_same_bytes() -> None:
    content = surface_bytes(a_surface())
    assert surface_bytes(surface_from(content, FRAME)) == content


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\1\0\0",
        surface_bytes(a_surface())[:-1],
        surface_bytes(a_surface()) + b"\0",
        struct.pack("<II", 1, 1) + bytes(12) + struct.pack("<III", 0, 0, 7),
        struct.pack("<II", 0xFFFFFFFF, 0xFFFFFFFF),
        struct.pack("<IIfff", 1, 0, float("nan"), 0.0, 0.0),
    ],
)
def test_a_damaged_surface_file_is_told_plainly(content: bytes) -> None:
    with pytest.raises(SurfaceError) as refusal:
        surface_from(content, FRAME)
    assert refusal.value.found
    assert refusal.value.next_step


def test_labels_come_back_with_their_grid_to_the_last_bit() -> None:
    labels = some_labels()
    back = labels_from(labels_bytes(labels))
    np.testing.assert_array_equal(back.codes, labels.codes)
    np.testing.assert_array_equal(back.grid.origin_mm, labels.grid.origin_mm)
    np.testing.assert_array_equal(back.grid.steps_mm, labels.grid.steps_mm)
    assert (back.grid.shape, back.grid.fixed_to) == (labels.grid.shape, "2.25.7")


def test_edits_come_back_to_the_last_bit() -> None:
    edits = some_edits()
    back = edits_from(edits_bytes(edits))
    np.testing.assert_array_equal(back.voxels, edits.voxels)
    np.testing.assert_array_equal(back.codes, edits.codes)
    assert (back.shape, back.cuts, back.seeds) == (edits.shape, edits.cuts, edits.seeds)
    assert edits_from(edits_bytes(LabelEdits.none((2, 2, 2)))).is_empty


@given(cut=st.integers(0, 10_000), turned=st.integers(0, 255))
def test_no_damage_to_labels_or_edits_raises_anything_but_a_refusal(cut: int, turned: int) -> None:
    for content, read in (
        (labels_bytes(some_labels()), labels_from),
        (edits_bytes(some_edits()), edits_from),
    ):
        broken = bytearray(content[: cut % len(content)])
        if broken:
            broken[turned % len(broken)] ^= 0x41
        with pytest.raises(VolumeError) as refusal:
            read(bytes(broken))
        assert refusal.value.next_step


def test_a_file_that_claims_to_be_huge_does_not_fill_the_memory() -> None:
    line = b'{"shape":[1,1,1],"voxels":4000000000000,"cuts":[],"seeds":[]}\n'
    with pytest.raises(VolumeError):
        edits_from(EDITS + line)
