"""Meshes against closed forms, trimesh (MIT) and manifold3d (Apache-2.0)."""

import math

import manifold3d
import numpy as np
import trimesh

from hipwright.engines.geometry import mesh_distance, mesh_rays, mesh_tree, meshes
from hipwright.engines.geometry.mesh_sections import plane_section_mm, section_area_mm2


def arrays(mesh):
    return np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces)


BALL = arrays(trimesh.creation.icosphere(subdivisions=4, radius=20.0))
RING = arrays(trimesh.creation.torus(30.0, 10.0, major_sections=60, minor_sections=40))
KNOBBLY = trimesh.creation.icosphere(subdivisions=3, radius=20.0)
KNOBBLY.vertices *= 1 + 0.2 * np.sin(KNOBBLY.vertices[:, :1] / 3) * np.cos(
    KNOBBLY.vertices[:, 1:2] / 4
)
ROCK = arrays(KNOBBLY)


def far_off(seed, count=400, reach=35.0):
    rng = np.random.default_rng(seed)
    return rng.uniform(-reach, reach, (count, 3))


def test_area_and_volume_of_a_ball_and_of_a_ring_are_those_of_the_closed_forms():
    assert math.isclose(meshes.volume_mm3(*BALL), 4 / 3 * math.pi * 20**3, rel_tol=3e-3)
    assert math.isclose(meshes.area_mm2(*BALL), 4 * math.pi * 20**2, rel_tol=3e-3)
    assert math.isclose(meshes.volume_mm3(*RING), 2 * math.pi**2 * 30 * 10**2, rel_tol=1e-2)
    assert math.isclose(meshes.area_mm2(*RING), 4 * math.pi**2 * 30 * 10, rel_tol=1e-2)


def test_area_volume_edges_and_euler_number_match_trimesh():
    for vertices, faces in (BALL, RING, ROCK):
        other = trimesh.Trimesh(vertices, faces, process=False)
        assert math.isclose(meshes.volume_mm3(vertices, faces), other.volume, rel_tol=1e-12)
        assert math.isclose(meshes.area_mm2(vertices, faces), other.area, rel_tol=1e-12)
        assert meshes.euler_number(faces) == other.euler_number
        assert np.array_equal(meshes.edges(faces), np.unique(other.edges_sorted, axis=0))
        np.testing.assert_allclose(meshes.face_normals(vertices, faces), other.face_normals)


def test_a_ball_has_no_handle_a_ring_one_and_two_rings_two():
    two = np.concatenate([RING[1], RING[1] + len(RING[0])])
    assert [meshes.handles(f) for f in (BALL[1], RING[1], two)] == [0, 1, 2]


def test_normals_of_a_ball_point_away_from_its_middle():
    vertices, faces = BALL
    along = np.einsum("ij,ij->i", meshes.vertex_normals(vertices, faces), vertices / 20.0)
    assert along.min() > 1 - 1e-5


def test_the_largest_piece_is_kept_and_a_speck_is_dropped():
    speck = trimesh.creation.icosphere(subdivisions=1, radius=1.0)
    vertices = np.concatenate([speck.vertices + 50, ROCK[0]])
    faces = np.concatenate([speck.faces, ROCK[1] + len(speck.vertices)])
    kept, triangles = meshes.largest_piece(vertices, faces)
    assert np.array_equal(kept, ROCK[0])
    assert np.array_equal(triangles, ROCK[1])
    assert meshes.face_pieces(faces).max() == 1
    assert not len(meshes.face_pieces(faces[:0]))


def test_a_mesh_with_a_missing_face_or_a_turned_face_is_not_closed():
    _, faces = ROCK
    turned = faces.copy()
    turned[0] = turned[0, ::-1]
    assert meshes.is_closed(faces)
    assert not meshes.is_closed(faces[1:])
    assert not meshes.is_closed(turned)
    assert not meshes.is_closed(faces[:0])


def test_a_mirrored_mesh_still_looks_outward():
    vertices, faces = meshes.mirrored(*ROCK)
    assert math.isclose(meshes.volume_mm3(vertices, faces), meshes.volume_mm3(*ROCK))


def test_smoothing_takes_noise_away_without_shrinking_a_ball():
    vertices, faces = BALL
    rough = vertices * (1 + 0.01 * np.random.default_rng(1).standard_normal((len(vertices), 1)))
    smooth = meshes.smoothed(rough, faces, 10)
    radii = np.linalg.norm(smooth, axis=1)
    assert radii.std() < 0.5 * np.linalg.norm(rough, axis=1).std()
    assert abs(radii.mean() - 20.0) < 0.05  # mm
    before, after = (meshes.uneven_height_mm(v, faces).std() for v in (rough, smooth))
    assert after < 0.3 * before


def test_rays_meet_a_ball_where_the_closed_form_says():
    vertices, faces = arrays(trimesh.creation.icosphere(subdivisions=6, radius=20.0))
    origins = far_off(2) * 0.25
    directions = far_off(3)
    unit = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    along = np.einsum("ij,ij->i", origins, unit)
    expected = -along + np.sqrt(along**2 - (origins**2).sum(axis=1) + 400.0)
    found = mesh_rays.first_hits_mm(vertices, faces, origins, directions)
    np.testing.assert_allclose(found, expected, atol=0.02)  # mm, height of the facets


def test_first_and_last_meetings_match_those_of_manifold():
    """manifold3d (Apache-2.0) casts rays by its own tree."""
    origins, directions = far_off(4), far_off(5)
    unit = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    for vertices, faces in (RING, ROCK):
        solid = manifold3d.Manifold(
            manifold3d.Mesh64(vertices, np.ascontiguousarray(faces, dtype=np.uint64))
        )
        first, last = np.full((2, len(origins)), np.nan)
        for ray, (start, way) in enumerate(zip(origins, unit, strict=True)):
            hits = [h.distance * 200 for h in solid.ray_cast(start, start + 200 * way)]
            if hits:
                first[ray], last[ray] = min(hits), max(hits)
        hit = mesh_rays.first_hits_mm(vertices, faces, origins, directions)
        end = mesh_rays.first_hits_mm(vertices, faces, origins, directions, outermost=True)
        np.testing.assert_allclose(hit, first, atol=1e-6)
        np.testing.assert_allclose(end, last, atol=1e-6)
        assert np.isfinite(hit).sum() > 50


def test_rays_of_one_origin_may_come_as_a_grid():
    directions = far_off(6, 24).reshape(4, 6, 3)
    hits = mesh_rays.first_hits_mm(*BALL, np.zeros(3), directions)
    assert hits.shape == (4, 6)
    np.testing.assert_allclose(hits, 20.0, atol=0.1)


def test_no_ray_slips_through_a_vertex_or_an_edge():
    vertices, faces = BALL
    middles = vertices[faces[:, :2]].mean(axis=1)
    for aims in (vertices, middles):
        hits = mesh_rays.first_hits_mm(vertices, faces, np.zeros(3), aims)
        np.testing.assert_allclose(hits, np.linalg.norm(aims, axis=1), atol=1e-6)


def test_signed_distances_of_a_ring_are_those_of_the_closed_form():
    fine = arrays(trimesh.creation.torus(30.0, 10.0, major_sections=240, minor_sections=160))
    points = far_off(7, 2000)
    expected = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 30.0, points[:, 2]) - 10.0
    found = mesh_distance.signed_distances_mm(*fine, points)
    np.testing.assert_allclose(found, expected, atol=0.01)  # mm, height of the facets
    clear = np.abs(expected) > 0.01
    assert np.array_equal(np.sign(found[clear]), np.sign(expected[clear]))


def test_distances_from_a_box_with_sharp_edges_are_those_of_the_closed_form():
    half = np.array([5.0, 10.0, 15.0])
    vertices, faces = arrays(trimesh.creation.box(2 * half))
    points = far_off(8, 500, 25.0)
    beyond = np.abs(points) - half
    outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
    expected = outside + np.minimum(beyond.max(axis=1), 0.0)
    found = mesh_distance.signed_distances_mm(vertices, faces, points)
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_the_closest_place_lies_on_its_face_by_its_weights():
    vertices, faces = ROCK
    found = mesh_distance.closest_on_mesh(vertices, faces, far_off(9))
    placed = np.einsum("ij,ijk->ik", found.shares, vertices[faces[found.faces]])
    np.testing.assert_allclose(placed, found.points, atol=1e-9)


def test_the_compiled_search_gives_what_plain_numpy_gives():
    vertices, faces = ROCK
    tree = mesh_tree.mesh_tree(vertices, faces)
    points = far_off(10, 25)
    dense = trimesh.triangles.closest_point(
        np.tile(vertices[faces], (len(points), 1, 1)), np.repeat(points, len(faces), axis=0)
    ).reshape(len(points), len(faces), 3)
    plain = np.linalg.norm(dense - points[:, None], axis=2).min(axis=1)
    np.testing.assert_allclose(
        mesh_distance.closest_in_tree(tree, points).distances_mm, plain, atol=1e-9
    )
    assert sorted(tree.order.tolist()) == list(range(len(faces)))
    assert np.array_equal(tree.boxes[0, :3], vertices.min(axis=0))
    assert np.array_equal(tree.boxes[0, 3:], vertices.max(axis=0))


def test_a_plane_cuts_a_ring_in_two_circles_and_across_in_one_within_the_other():
    up = np.array([0.0, 0.0, 1.0])
    across = np.array([0.0, 1.0, 0.0])
    two = plane_section_mm(*RING, np.zeros(3), across)
    assert len(two) == 2
    for outline in two:
        assert math.isclose(section_area_mm2(outline, across), math.pi * 100, rel_tol=5e-3)
    outer, inner = plane_section_mm(*RING, np.array([0.0, 0.0, 0.01]), up)
    assert math.isclose(section_area_mm2(outer, up), math.pi * 40**2, rel_tol=5e-3)
    assert math.isclose(section_area_mm2(inner, up), -math.pi * 20**2, rel_tol=5e-3)
    assert plane_section_mm(*RING, np.array([0.0, 0.0, 11.0]), up) == ()


def test_sections_match_those_of_trimesh_and_pass_through_vertices_unharmed():
    vertices, faces = ROCK
    other = trimesh.Trimesh(vertices, faces, process=False)
    for point in (vertices[17], vertices[100], np.zeros(3)):
        normal = np.array([0.3, -0.5, 0.8])
        ours = plane_section_mm(vertices, faces, point, normal)
        theirs = other.section(plane_origin=point, plane_normal=normal)
        assert theirs is not None
        length = sum(
            np.linalg.norm(outline - np.roll(outline, -1, axis=0), axis=1).sum()
            for outline in ours
        )
        assert math.isclose(length, theirs.length, rel_tol=1e-6)


def test_an_open_mesh_gives_an_open_outline():
    vertices, faces = BALL
    lower = faces[(vertices[faces][:, :, 2] < 5).all(axis=1)]
    (outline,) = plane_section_mm(vertices, lower, np.zeros(3), np.array([0.0, 1.0, 0.0]))
    gap = np.linalg.norm(outline[0] - outline[-1])
    assert gap > 30
    assert np.linalg.norm(np.diff(outline, axis=0), axis=1).max() < 4


def test_a_ray_that_leads_nowhere_meets_nothing() -> None:
    ways = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 0.0], [np.nan, 0.0, 1.0]])
    found = mesh_rays.first_hits_mm(*BALL, np.zeros(3), ways)
    assert found[0] > 0
    assert np.isnan(found[1:]).all()
