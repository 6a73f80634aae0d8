"""A skeleton of spheres and rods with closed-form truth, for tests that need no likeness."""

from typing import Any

import numpy as np
import trimesh

from hipwright.domain.side import Side
from hipwright.phantoms.film_bodies import Bone, Part, Skeleton
from hipwright.phantoms.surfaces import TriangleSurface

HEADS = {Side.LEFT: np.array([88.0, 0.0, 0.0]), Side.RIGHT: np.array([-88.0, 0.0, 0.0])}
RADIUS = 24.0


def surface(mesh: trimesh.Trimesh, offset: np.ndarray | None = None) -> TriangleSurface:
    vertices = np.asarray(mesh.vertices) + (0 if offset is None else offset)
    return TriangleSurface(vertices=vertices, faces=np.asarray(mesh.faces))


def femur(side: Side, radius: float) -> TriangleSurface:
    out = 1.0 if side is Side.LEFT else -1.0
    head = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    # rods of many rings: sections at any height find corners
    shaft = trimesh.creation.cylinder(radius=0.55 * radius, height=380.0, sections=48)
    for _ in range(3):
        shaft = shaft.subdivide()
    shaft.apply_translation([out * 42.0, 0.0, -220.0])
    both: Any = trimesh.util.concatenate([head, shaft])
    return surface(both, HEADS[side])


def stick_skeleton() -> Skeleton:
    bones = [
        Bone(
            name=f"femur_{side.value}",
            part=Part.femur(side),
            outer=femur(side, RADIUS),
            inner=femur(side, RADIUS - 2.0),
        )
        for side in Side
    ]
    ring = trimesh.creation.torus(major_radius=70.0, minor_radius=9.0)
    ring.apply_translation([0.0, 0.0, 40.0])
    bones.append(Bone(name="ring", part=Part.PELVIS, outer=surface(ring)))
    return Skeleton(
        bones=tuple(bones), head_centers_mm=HEADS, head_radii_mm=dict.fromkeys(Side, RADIUS)
    )
