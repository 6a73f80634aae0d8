"""The shape model's evaluator: patches, bones, modes."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from hipwright.adapters.shape_model_files import read_shape_model
from hipwright.phantoms.patches import Patch, triangulate
from hipwright.phantoms.surfaces import TriangleSurface

ROUNDING_MM = 1e-9


def _nodes_of_a_quadrilateral(order: int) -> np.ndarray:
    return np.array([(i / order, j / order) for j in range(order + 1) for i in range(order + 1)])


def _nodes_of_a_triangle(order: int) -> np.ndarray:
    return np.array(
        [(i / order, j / order) for j in range(order + 1) for i in range(order + 1 - j)]
    )


@pytest.mark.parametrize(
    ("orders", "parameters"),
    [
        ((3, 3), _nodes_of_a_quadrilateral(3)),
        ((4, 4), _nodes_of_a_quadrilateral(4)),
        ((3,), _nodes_of_a_triangle(3)),
        ((4,), _nodes_of_a_triangle(4)),
    ],
)
def test_a_patch_follows_any_polynomial_of_its_order(orders, parameters):
    order = orders[0]
    u, v = parameters.T
    nodes = np.stack([u, v, 1 + u - 2 * v + u**order - 3 * u * v ** (order - 1)], axis=1)
    cut = triangulate([Patch(orders=orders, nodes=tuple(range(len(nodes))))], nodes, steps=7)
    x, y, z = (cut.weights @ nodes).T
    np.testing.assert_allclose(z, 1 + x - 2 * y + x**order - 3 * x * y ** (order - 1), atol=1e-12)


def test_a_patch_refuses_a_wrong_number_of_nodes():
    with pytest.raises(ValueError, match="10 nodes, not 9"):
        Patch(orders=(3,), nodes=tuple(range(9)))


@pytest.mark.parametrize("weights", [{}, {1: 2.0, 2: -1.5}, {5: -2.0, 9: 2.0}])
def test_every_bone_of_the_model_is_closed_and_looks_outward(weights):
    for name, bone in read_shape_model().shape(weights).items():
        assert bone.is_closed, name
        assert bone.volume_mm3 > 100_000.0, name


def test_the_hip_bones_have_their_obturator_foramen_and_the_other_bones_no_hole():
    euler = {}
    for name, bone in read_shape_model().shape({}).items():
        euler[name] = len(bone.vertices) - len(bone.faces) // 2  # V - E + F of a closed surface
    assert euler == {"hip_bone_right": 0, "hip_bone_left": 0, "sacrum": 2, "femur_left": 2}


def test_left_lies_left_and_the_sacrum_between():
    bones = read_shape_model().shape({})
    middle = {name: float(bone.vertices[:, 0].mean()) for name, bone in bones.items()}
    assert middle["hip_bone_right"] < middle["sacrum"] < middle["hip_bone_left"]


def test_vertices_are_linear_in_the_weights():
    model = read_shape_model()
    mean, one, two, both = (
        model.shape(w)["hip_bone_left"].vertices
        for w in ({}, {1: 1.5}, {6: -0.7}, {1: 1.5, 6: -0.7})
    )
    np.testing.assert_allclose(both - mean, (one - mean) + (two - mean), atol=ROUNDING_MM)


def test_the_mean_femoral_head_has_the_radius_found_by_an_independent_look():
    """Mean head radius 22.9 mm: found before this project, by another evaluator."""
    femur = read_shape_model().shape({})["femur_left"].vertices
    top = femur[femur[:, 0] < np.quantile(femur[femur[:, 2] > 1100.0, 0], 0.35)]
    top = top[top[:, 2] > 1165.0]

    def misfit(sphere):
        return np.linalg.norm(top - sphere[:3], axis=1) - sphere[3]

    fit = least_squares(misfit, [*top.mean(0), 22.0], loss="soft_l1", f_scale=0.3).x
    assert fit[3] == pytest.approx(22.9, abs=0.4)  # which part of the head is fitted moves it


def test_a_mirrored_surface_still_looks_outward():
    bone = read_shape_model().shape({})["hip_bone_left"]
    mirror = bone.mirrored()
    assert mirror.volume_mm3 == pytest.approx(bone.volume_mm3)
    assert mirror.is_closed


def test_modes_are_counted_from_one():
    with pytest.raises(ValueError, match="counted 1"):
        read_shape_model().nodes({0: 1.0})


def test_an_open_surface_is_told_from_a_closed_one():
    bone = read_shape_model().shape({})["femur_left"]
    assert not TriangleSurface(vertices=bone.vertices, faces=bone.faces[1:]).is_closed
