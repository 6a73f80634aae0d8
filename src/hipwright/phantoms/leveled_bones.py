"""The model's bones in the pose in which people are built.

Everything is built as a left hip: +x lateral (the patient's left), +y posterior,
+z superior, mm. The pelvis lies with its plane of symmetry at x = 0 and its
anterior pelvic plane upright; the femur has its head at the origin, its mechanical
axis upright and its condyles facing back.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from hipwright.phantoms.shape_model import ShapeModel
from hipwright.phantoms.surfaces import Faces

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_MIRROR_ROUNDS = 40
_KEPT_SHARE = 0.9
_FIT_ROUNDS = 8
_NEAR_SPHERE_MM = 3.0
_NECK_BEGINS_MM = (10.0, -15.0)  # lateral of and below the head center
_NEAR_SOCKET_MM = 5.0
_FACING = -0.8  # cosine between a wall's outward normal and the way out from the center
_ABOVE_NOTCH = -0.2
_BESIDE_FOSSA = -0.75


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PelvisTemplate:
    """Where the mean pelvis lies, and which of its vertices are the socket.

    Attributes
    ----------
    rotation, origin
        ``leveled = (points - origin) @ rotation.T``.
    socket
        Vertices of the left hip bone on roof and walls, the fossa left out.
    socket_center, socket_radius
        Sphere through them on the mean shape, mm.
    """

    rotation: Floats
    origin: Floats
    socket: Flags
    socket_center: Floats
    socket_radius: float

    def leveled(self, points: Floats) -> Floats:
        """Return points of the model in the pose of the leveled pelvis."""
        return (points - self.origin) @ self.rotation.T


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurTemplate:
    """Which vertices of the left femur are the spherical part of its head."""

    head: Flags


def sphere_through(points: Floats, start: Floats, radius: float) -> tuple[Floats, float]:
    """Fit a sphere robustly (soft L1 over 0.3 mm); mm."""

    def misfit(sphere: Floats) -> Floats:
        return np.linalg.norm(points - sphere[:3], axis=1) - sphere[3]

    found = least_squares(misfit, np.append(start, radius), loss="soft_l1", f_scale=0.3).x
    return found[:3], float(found[3])


def _mirror_plane(left: Floats, right: Floats) -> tuple[Floats, Floats]:
    """Return normal and one point of the plane in which two bones mirror each other best."""
    point = (left.mean(axis=0) + right.mean(axis=0)) / 2
    normal = left.mean(axis=0) - right.mean(axis=0)
    normal /= np.linalg.norm(normal)
    tree = cKDTree(left)
    for _ in range(_MIRROR_ROUNDS):
        mirror = np.eye(3) - 2 * np.outer(normal, normal)
        image = (right - point) @ mirror + point
        distance, nearest = tree.query(image)
        near = distance < np.quantile(distance, _KEPT_SHARE)
        one, two = image[near], left[np.asarray(nearest)[near]]
        u, _, vt = np.linalg.svd((one - one.mean(axis=0)).T @ (two - two.mean(axis=0)))
        turn = vt.T @ np.diag([1.0, 1.0, np.linalg.det(vt.T @ u.T)]) @ u.T
        image = (image - one.mean(axis=0)) @ turn.T + two.mean(axis=0)
        whole = turn @ mirror
        axis: Floats = np.linalg.svd(whole + whole.T + 2 * np.eye(3))[2][2]  # what is turned over
        normal = axis * np.sign(axis @ normal)
        point = ((right + image) / 2).mean(axis=0)
    return normal, point


def _upright(points: Floats) -> Floats:
    """Return the rotation about x that makes the anterior pelvic plane upright."""
    tilt = 0.0
    for _ in range(_FIT_ROUNDS):
        turned = Rotation.from_rotvec([tilt, 0.0, 0.0]).apply(points)
        middle = turned[:, 2].mean()
        upper, lower = turned[turned[:, 2] > middle], turned[turned[:, 2] < middle - 20.0]
        spine = upper[int(upper[:, 1].argmin())]
        tubercle = lower[int(lower[:, 1].argmin())]
        tilt += float(np.arctan2(spine[1] - tubercle[1], spine[2] - tubercle[2]))
    return Rotation.from_rotvec([tilt, 0.0, 0.0]).as_matrix()


def vertex_normals(vertices: Floats, faces: Faces) -> Floats:
    """Return unit normals of the vertices, weighted by face area."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    normals = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(normals, faces[:, k], across)
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)


@cache
def femur_template(model: ShapeModel) -> FemurTemplate:
    """Find the head of the mean femur: near the fitted sphere, away from the neck."""
    vertices = model.shape({})["femur_left"].vertices
    top = vertices[vertices[:, 2] > vertices[:, 2].max() - 60.0]
    center, radius = top[int(top[:, 0].argmin())] + [20.0, 0.0, 0.0], 22.0
    head = np.zeros(len(vertices), dtype=bool)
    for _ in range(_FIT_ROUNDS):
        away = vertices - center
        head = (
            (np.linalg.norm(away, axis=1) < radius + _NEAR_SPHERE_MM)
            & (away[:, 0] < _NECK_BEGINS_MM[0])
            & (away[:, 2] > _NECK_BEGINS_MM[1])
        )
        center, radius = sphere_through(vertices[head], center, radius)
    return FemurTemplate(head=head)


@cache
def pelvis_template(model: ShapeModel) -> PelvisTemplate:
    """Level the mean pelvis and find its left socket."""
    bones = model.shape({})
    left, right = bones["hip_bone_left"], bones["hip_bone_right"]
    normal, point = _mirror_plane(left.vertices, right.vertices)
    up = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
    up /= np.linalg.norm(up)
    back = np.real(np.cross(up, normal))  # real already; the stubs do not know
    rotation = np.stack([normal, back, up])
    rotation = _upright((left.vertices - point) @ rotation.T) @ rotation
    vertices = (left.vertices - point) @ rotation.T
    outward = vertex_normals(vertices, left.faces)
    head = bones["femur_left"].vertices[femur_template(model).head]
    center, radius = sphere_through((head - point) @ rotation.T, vertices.mean(axis=0), 23.0)
    socket = np.zeros(len(vertices), dtype=bool)
    for _ in range(_FIT_ROUNDS):
        away = vertices - center
        distance = np.linalg.norm(away, axis=1)
        toward = away / distance[:, None]
        socket = (
            (np.abs(distance - radius) < _NEAR_SOCKET_MM)
            & (np.einsum("ij,ij->i", toward, outward) < _FACING)
            & (toward[:, 2] > _ABOVE_NOTCH)  # the notch and
            & (toward[:, 0] > _BESIDE_FOSSA)  # the fossa are no part of the sphere
        )
        center, radius = sphere_through(vertices[socket], center, radius)
    return PelvisTemplate(
        rotation=rotation, origin=point, socket=socket, socket_center=center, socket_radius=radius
    )
