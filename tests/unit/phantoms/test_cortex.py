"""Inner surfaces made from outer ones."""

import numpy as np
import pytest
import trimesh

from hipwright.phantoms.cortex import half_thickness_mm, hollowed, vertex_normals
from hipwright.phantoms.surfaces import TriangleSurface


def ball(radius: float) -> TriangleSurface:
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return TriangleSurface(vertices=np.asarray(mesh.vertices), faces=np.asarray(mesh.faces))


def test_hollowed_ball_is_a_smaller_ball():
    inner = hollowed(ball(20.0), 2.0)
    assert np.linalg.norm(inner.vertices, axis=1) == pytest.approx(18.0, abs=0.01)
    assert inner.volume_mm3 == pytest.approx(ball(18.0).volume_mm3, rel=1e-3)


def test_normals_point_outward():
    surface = ball(20.0)
    assert np.einsum("ij,ij->i", vertex_normals(surface), surface.vertices) == pytest.approx(
        20.0, abs=0.02
    )


def test_half_thickness_of_a_plate_is_half_its_thickness():
    plate = trimesh.creation.box(extents=[40.0, 40.0, 5.0])
    for _ in range(5):
        plate = plate.subdivide()
    surface = TriangleSurface(vertices=np.asarray(plate.vertices), faces=np.asarray(plate.faces))
    flat = (np.abs(surface.vertices[:, :2]) < 14).all(axis=1)
    assert half_thickness_mm(surface)[flat] == pytest.approx(2.5, abs=0.15)


def test_thin_bone_never_turns_inside_out():
    plate = trimesh.creation.box(extents=[40.0, 40.0, 2.0])
    for _ in range(5):
        plate = plate.subdivide()
    surface = TriangleSurface(vertices=np.asarray(plate.vertices), faces=np.asarray(plate.faces))
    inner = hollowed(surface, 5.0)
    assert 0 < inner.volume_mm3 < surface.volume_mm3
