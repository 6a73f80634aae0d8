"""Ray lengths and beam geometry against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from hipwright.phantoms.projection import Beam, beam_through
from hipwright.phantoms.ray_lengths import ray_lengths

EXACT_MM = 1e-3  # corners sit on a grid of 1/4096 px; a grazing face turns 0.00005 mm into more


def front_beam(
    *,
    sdd: float = 1200.0,
    oid: float = 150.0,
    pixel: float = 0.5,
    columns: int = 241,
    rows: int = 201,
) -> Beam:
    return beam_through(
        center_mm=np.zeros(3),
        subject_mm=np.zeros(3),
        direction=np.array([0.0, 1.0, 0.0]),
        up=np.array([0.0, 0.0, 1.0]),
        source_detector_mm=sdd,
        object_detector_mm=oid,
        pixel_mm=pixel,
        columns=columns,
        rows=rows,
    )


def rays(beam: Beam) -> np.ndarray:
    row, column = np.mgrid[: beam.rows, : beam.columns]
    ends = beam.pixel_position_mm(np.column_stack([column.ravel(), row.ravel()]))
    along = ends - beam.source_mm
    return along / np.linalg.norm(along, axis=1)[:, None]


def box_chords(beam: Beam, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Slab method, the textbook clipping of a ray by a box."""
    along = rays(beam)
    with np.errstate(divide="ignore", invalid="ignore"):
        one = (low - beam.source_mm) / along
        two = (high - beam.source_mm) / along
    enter = np.nanmax(np.minimum(one, two), axis=1)
    leave = np.nanmin(np.maximum(one, two), axis=1)
    return np.clip(leave - enter, 0.0, None).reshape(beam.rows, beam.columns)


def sphere_chords(beam: Beam, center: np.ndarray, radius: float) -> np.ndarray:
    along = rays(beam)
    towards = center - beam.source_mm
    nearest_sq = towards @ towards - (along @ towards) ** 2
    half = np.sqrt(np.clip(radius**2 - nearest_sq, 0.0, None))
    return (2 * half).reshape(beam.rows, beam.columns)


def convex_chords(mesh: trimesh.Trimesh, beam: Beam) -> np.ndarray:
    """Plain numpy: clip every ray by all face planes of a convex body."""
    along = rays(beam)
    offset = np.einsum("ij,ij->i", mesh.face_normals, mesh.triangles[:, 0] - beam.source_mm)
    cosine = along @ mesh.face_normals.T
    with np.errstate(divide="ignore"):
        where = offset[None, :] / cosine
    enter = np.where(cosine < 0, where, -np.inf).max(axis=1)
    leave = np.where(cosine > 0, where, np.inf).min(axis=1)
    return np.clip(leave - enter, 0.0, None).reshape(beam.rows, beam.columns)


def test_chords_through_a_box_equal_the_closed_form():
    beam = front_beam()
    low, high = np.array([-21.3, -14.2, -11.7]), np.array([18.9, 25.1, 30.4])
    mesh = trimesh.creation.box(bounds=[low, high])
    found = ray_lengths(mesh.vertices, mesh.faces, beam)
    expected = box_chords(beam, low, high)
    # on the outline a chord is cut short by the corner grid: compare a hair inside
    inside = (expected > 0) & (box_chords(beam, low + 0.01, high - 0.01) > 0)
    assert inside.sum() > 5000
    assert np.abs(found - expected)[inside].max() < EXACT_MM * 60  # steep sides near the outline
    assert np.median(np.abs(found - expected)[inside]) < 1e-10
    assert np.abs(found[expected == 0]).max() < EXACT_MM


def test_chords_through_a_convex_polyhedron_equal_plane_clipping():
    beam = front_beam(columns=121, rows=101, pixel=0.7)
    mesh = trimesh.creation.icosphere(subdivisions=2, radius=24.0)
    found = ray_lengths(mesh.vertices, mesh.faces, beam)
    expected = convex_chords(mesh, beam)
    assert np.abs(found - expected).max() < 0.02  # worst at the outline: 0.0002 px times slope
    assert np.quantile(np.abs(found - expected), 0.99) < EXACT_MM


def test_chords_through_a_sphere_converge_to_the_closed_form():
    beam = front_beam()
    center = np.array([6.0, -10.0, 4.0])
    expected = sphere_chords(beam, center, 24.0)
    well_inside = expected > 24.0
    errors: list[float] = []
    for subdivisions in (4, 5, 6):
        mesh = trimesh.creation.icosphere(subdivisions=subdivisions, radius=24.0)
        found = ray_lengths(mesh.vertices + center, mesh.faces, beam)
        errors.append(float(np.abs(found - expected)[well_inside].max()))
    assert errors[2] < 0.012  # sagitta of the flat triangles, two sides, seen obliquely
    # halving the edges quarters the sagitta: only the tessellation is left as error
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.1)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.1)


def test_volume_from_a_far_source_equals_the_volume_of_the_mesh():
    beam = front_beam(sdd=100_000.0, oid=0.0, pixel=0.25)
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=20.0)
    found = ray_lengths(mesh.vertices, mesh.faces, beam)
    assert found.sum() * 0.25**2 == pytest.approx(mesh.volume, rel=2e-3)  # 0.25 mm sampling


def test_no_streaks_when_corners_fall_on_pixel_centers():
    # a fan whose corners project exactly onto pixel centers and pixel rows
    beam = front_beam(sdd=1000.0, oid=0.0, pixel=1.0, columns=101, rows=101)
    mesh = trimesh.creation.box(extents=[40.0, 30.0, 40.0]).subdivide().subdivide().subdivide()
    found = ray_lengths(mesh.vertices, mesh.faces, beam)
    assert found.min() > -1e-9
    assert found.max() < 31.0  # one missed triangle would leave about 1000 mm
    assert found[35:66, 35:66] == pytest.approx(
        box_chords(beam, mesh.bounds[0], mesh.bounds[1])[35:66, 35:66]
    )


def test_shell_of_two_spheres_is_the_difference_of_their_chords():
    beam = front_beam()
    outer = trimesh.creation.icosphere(subdivisions=5, radius=24.0)
    inner = trimesh.creation.icosphere(subdivisions=5, radius=22.0)
    shell = ray_lengths(outer.vertices, outer.faces, beam) - ray_lengths(
        inner.vertices, inner.faces, beam
    )
    expected = sphere_chords(beam, np.zeros(3), 24.0) - sphere_chords(beam, np.zeros(3), 22.0)
    middle = sphere_chords(beam, np.zeros(3), 22.0) > 20.0
    assert np.abs(shell - expected)[middle].max() < 0.05


# reference check value T10 (imaging-and-planning reference, A.3) [computed]
@pytest.mark.parametrize(("oid", "expected"), [(150.0, 1.1429), (170.0, 1.165), (200.0, 1.2)])
def test_magnification_is_the_source_detector_ratio(oid: float, expected: float):
    beam = front_beam(oid=oid)
    assert beam.magnification(np.zeros(3)) == pytest.approx(
        expected, abs=6e-5 if oid != 170 else 6e-4
    )
    ends = beam.project(np.array([[-10.0, 0.0, 0.0], [10.0, 0.0, 0.0]]))
    assert (ends[1, 0] - ends[0, 0]) * beam.pixel_mm / 20.0 == pytest.approx(
        1200.0 / (1200.0 - oid)
    )


# reference check value T11: inter-head distance 175 mm [computed]
@pytest.mark.parametrize(("turn", "expected"), [(55, 100.4), (60, 87.5), (65, 74.0), (70, 59.9)])
def test_false_profile_separation_follows_the_cosine_of_the_turn(turn: float, expected: float):
    turned = np.radians(turn)
    beam = beam_through(
        center_mm=np.zeros(3),
        subject_mm=np.zeros(3),
        direction=np.array([np.sin(turned), np.cos(turned), 0.0]),
        up=np.array([0.0, 0.0, 1.0]),
        source_detector_mm=1e6,  # a nearly parallel beam
        object_detector_mm=0.0,
        pixel_mm=0.5,
        columns=801,
        rows=401,
    )
    heads = beam.project(np.array([[-87.5, 0.0, 0.0], [87.5, 0.0, 0.0]]))
    assert abs(heads[1, 0] - heads[0, 0]) * 0.5 == pytest.approx(expected, abs=0.05)


# reference check value T12: projected angle = 90 + atan2(-cos k, sin k cos v) [computed]
@pytest.mark.parametrize(
    ("neck_shaft", "version", "expected"), [(130.0, 20.0, 131.76), (140.0, 30.0, 143.99)]
)
def test_projected_neck_shaft_angle_depends_on_version(
    neck_shaft: float, version: float, expected: float
):
    k, v = np.radians([neck_shaft, version])
    beam = front_beam(sdd=1e6, oid=0.0)
    neck = np.array([np.sin(k) * np.cos(v), -np.sin(k) * np.sin(v), -np.cos(k)])
    px = beam.project(np.array([[0.0, 0.0, 0.0], 20 * neck, [0.0, 0.0, -30.0]]))
    towards_head, down = px[1] - px[0], px[2] - px[0]
    cosine = towards_head @ down / np.linalg.norm(towards_head) / np.linalg.norm(down)
    assert np.degrees(np.arccos(cosine)) == pytest.approx(expected, abs=0.005)


def test_patient_left_is_on_the_right_of_the_film_and_superior_is_up():
    px = front_beam().project(np.array([[20.0, 0.0, 0.0], [0.0, 0.0, 20.0]]))
    assert px[0, 0] > 120
    assert px[0, 1] == pytest.approx(100.0)
    assert px[1, 1] < 100


def test_pixel_position_returns_to_the_pixel():
    beam = front_beam()
    px = np.array([[0.0, 0.0], [13.5, 200.0], [240.0, 77.25]])
    assert beam.project(beam.pixel_position_mm(px)) == pytest.approx(px)


def test_beam_refuses_points_behind_the_source():
    with pytest.raises(ValueError, match="behind it"):
        front_beam().project(np.array([[0.0, -2000.0, 0.0]]))


def test_beam_refuses_mirrored_or_skewed_axes():
    good = front_beam()
    with pytest.raises(ValueError, match="Swap the axes"):
        replace(good, column_axis=-good.column_axis)
    with pytest.raises(ValueError, match="Normalize"):
        replace(good, column_axis=good.column_axis * 1.1)
    with pytest.raises(ValueError, match="no area"):
        replace(good, columns=0)
    with pytest.raises(ValueError, match="OID < SDD"):
        front_beam(oid=1300.0)


def test_ray_lengths_refuse_corners_that_are_not_numbers():
    mesh = trimesh.creation.box(extents=[10, 10, 10])
    vertices = np.array(mesh.vertices)
    vertices[3, 0] = np.nan
    with pytest.raises(ValueError, match="cannot trace rays"):
        ray_lengths(vertices, mesh.faces, front_beam())
