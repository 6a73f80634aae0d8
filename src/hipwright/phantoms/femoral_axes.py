"""Axes of a femur from its surface: neck, shaft, condyles; and bending it to new angles.

The femur stands as a left one: head center at the origin, mechanical axis along z,
back of the condyles parallel to x; +x lateral, +y posterior, +z superior, mm.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from hipwright.phantoms.surfaces import Faces

Floats = NDArray[np.float64]

_ROUNDS = 5
_NARROW = 0.04  # sections up to some percent wider than the narrowest share in its middle
_NECK_STRETCH = (
    0.95,
    1.2,
)  # head radii from the head center: beyond, the trochanter joins the section
_NECK_BALL = 1.7  # head radii around the head: holds every section of the neck
_SETTLED = 1e-9
_CLOSE_ENOUGH_DEG = 1e-4
_NECK_WITHIN = 1.0  # head radii around the axis
_USUAL_NECK = np.array([0.74, 0.15, -0.66])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemoralAxes:
    """Lines of a femur; points in mm, directions as unit vectors.

    Attributes
    ----------
    isthmus
        Middle of the narrowest part of the neck.
    neck
        Direction from the head center to the isthmus.
    shaft_point, shaft
        A point of the shaft's axis below the lesser trochanter, and its direction, upward.
    """

    isthmus: Floats
    neck: Floats
    shaft_point: Floats
    shaft: Floats

    @property
    def version_deg(self) -> float:
        """Neck axis to the back of the condyles, seen along the mechanical axis."""
        toward_head = -self.neck
        return float(np.degrees(np.arctan2(-toward_head[1], -toward_head[0])))

    @property
    def neck_shaft_deg(self) -> float:
        """Angle between the neck's and the shaft's axis, in space."""
        return float(180.0 - np.degrees(np.arccos(np.clip(-self.neck @ self.shaft, -1.0, 1.0))))


def cross_section(
    vertices: Floats, faces: Faces, point: Floats, normal: Floats, *, within: float
) -> tuple[float, Floats]:
    """Return area (mm²) and middle of the section through a closed surface.

    Only triangles within ``within`` mm of the point are cut.
    """
    height = (vertices - point) @ normal
    height = np.where(height == 0.0, 1e-12, height)
    above = height[faces] > 0.0
    cut = faces[above.any(axis=1) & ~above.all(axis=1)]
    near = np.linalg.norm(vertices[cut] - point, axis=2) < within
    cut = cut[near.any(axis=1)]
    above = height[cut] > 0.0
    one_above = above.sum(axis=1) == 1
    lone = np.argmax(above == one_above[:, None], axis=1)
    rows = np.arange(len(cut))
    apex, left, right = (cut[rows, (lone + k) % 3] for k in range(3))
    ends = [
        vertices[apex]
        + (vertices[other] - vertices[apex])
        * (height[apex] / (height[apex] - height[other]))[:, None]
        for other in (left, right)
    ]
    one, two = ends[0] - point, ends[1] - point
    turn = np.where(above[rows, lone], 1.0, -1.0)
    double = turn * (np.cross(one, two) @ normal)
    total = double.sum()
    middle = (double[:, None] * (one + two)).sum(axis=0) / (3.0 * total)
    return abs(float(total)) / 2.0, point + middle


def standing(vertices: Floats, head: Floats) -> Floats:
    """Return the femur standing upright with its head center at the origin."""
    points = vertices - head
    knee_level = points[:, 2].min() + 40.0
    for _ in range(_ROUNDS):
        distal = points[points[:, 2] < knee_level]
        lateral, medial = distal[distal[:, 0].argmax()], distal[distal[:, 0].argmin()]
        knee = (lateral + medial) / 2
        up = -knee / np.linalg.norm(knee)
        outer = distal[distal[:, 0] > knee[0]]
        inner = distal[distal[:, 0] <= knee[0]]
        across = outer[outer[:, 1].argmax()] - inner[inner[:, 1].argmax()]
        across = across - (across @ up) * up
        across /= np.linalg.norm(across)
        points = points @ np.stack([across, np.cross(up, across), up]).T
        knee_level = points[:, 2].min() + 40.0
    return points


def femoral_axes(
    vertices: Floats, faces: Faces, head_radius: float, *, near: Floats = _USUAL_NECK
) -> FemoralAxes:
    """Measure the axes of a standing femur whose head center is the origin.

    ``near`` is a first guess of the neck's direction.
    """
    neck = near / np.linalg.norm(near)
    isthmus = neck * 1.2 * head_radius
    around = faces[
        (np.linalg.norm(vertices, axis=1) < _NECK_BALL * head_radius)[faces].any(axis=1)
    ]
    for _ in range(4 * _ROUNDS):
        sections = [
            cross_section(vertices, around, neck * t, neck, within=_NECK_WITHIN * head_radius)
            for t in np.linspace(*_NECK_STRETCH, 7) * head_radius
        ]
        areas = np.array([area for area, _ in sections])
        share = np.exp(-(areas / areas.min() - 1.0) / _NARROW)
        isthmus = share @ np.array([middle for _, middle in sections]) / share.sum()
        before, neck = neck, isthmus / np.linalg.norm(isthmus)
        if np.abs(neck - before).max() < _SETTLED:
            break
    down = np.array([0.0, 0.0, 1.0])
    middles: list[Floats] = []
    for depth in (4.2, 5.2, 6.2, 7.2):
        slab = vertices[np.abs(vertices[:, 2] + depth * head_radius) < 0.25 * head_radius]
        level = np.append(slab[:, :2].mean(axis=0), -depth * head_radius)
        middles.append(cross_section(vertices, faces, level, down, within=2.0 * head_radius)[1])
    points = np.asarray(middles)
    shaft = np.linalg.svd(points - points.mean(axis=0))[2][0]
    return FemoralAxes(
        isthmus=isthmus,
        neck=neck,
        shaft_point=points.mean(axis=0),
        shaft=shaft * np.sign(shaft[2]),
    )


def _step(at: Floats) -> Floats:
    t = np.clip(at, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def reshaped(
    vertices: Floats,
    faces: Faces,
    head_radius: float,
    *,
    version_deg: float,
    neck_shaft_deg: float,
) -> Floats:
    """Twist the shaft and bend the neck until version and neck–shaft angle are as wanted.

    Parameters
    ----------
    vertices, faces
        A standing femur, head center at the origin.
    head_radius
        Of the femur as given, mm.
    version_deg, neck_shaft_deg
        Wanted values.

    Returns
    -------
    Floats
        The new vertices, standing again, head center at the origin.
    """
    points = vertices
    axes = femoral_axes(points, faces, head_radius)
    for _ in range(2 * _ROUNDS):
        missing = abs(version_deg - axes.version_deg) + abs(neck_shaft_deg - axes.neck_shaft_deg)
        if missing < _CLOSE_ENOUGH_DEG:
            break
        bend = np.radians(neck_shaft_deg - axes.neck_shaft_deg)
        hinge_axis = np.cross(-axes.neck, axes.shaft)
        hinge_axis /= np.linalg.norm(hinge_axis)
        hinge = axes.isthmus + axes.neck * 0.55 * head_radius
        along = -(points - hinge) @ axes.neck
        share = _step(along / head_radius + 0.4)
        share *= _step(1.6 - np.linalg.norm(points, axis=1) / (3.0 * head_radius))
        turn = Rotation.from_rotvec((share * bend)[:, None] * hinge_axis)
        points = hinge + turn.apply(points - hinge)
        head = hinge + Rotation.from_rotvec(bend * hinge_axis).apply(-hinge)
        axes = femoral_axes(points - head, faces, head_radius, near=-head + axes.isthmus)
        twist = np.radians(version_deg - axes.version_deg)
        length = points[:, 2].max() - points[:, 2].min()
        height = (points[:, 2] - points[:, 2].min()) / length
        share = _step((height - 0.2) / 0.45)
        turn = Rotation.from_rotvec((share * twist)[:, None] * axes.shaft)
        base = axes.shaft_point + head
        points = base + turn.apply(points - base)
        whole = Rotation.from_rotvec(twist * axes.shaft)
        head = base + whole.apply(head - base)
        points = standing(points, head)
        axes = femoral_axes(points, faces, head_radius, near=whole.apply(axes.neck))
    return points
