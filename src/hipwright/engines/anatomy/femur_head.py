"""The head of a femur: finding it, and the sphere of what articulates.

Places here are in axes of the scan turned like a hip: +X lateral, +Y anterior, +Z
superior, mm, wherever the leg lies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.geometry.meshes import face_areas_mm2, vertex_normals
from hipwright.engines.geometry.spheres import (
    SphereFit,
    fit_sphere_robustly,
    radius_about,
)

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

RADII_MM = np.arange(15.0, 34.0)
"""Radii that heads of grown-ups, dysplastic and arthritic ones included, are looked for in."""
SEEN_BELOW_TOP_MM = 90.0
"""The head lies within this much of the bone's upper end, with the hip flexed up to some 50°."""
VOTE_CELL_MM = 3.0
FEWEST_OF_A_SPHERE = 0.12
"""Share of a whole sphere that must point at one center before it is taken for a head."""
ARTICULATES_FROM_DEG = 70.0
ARTICULATES_SURELY_DEG = 80.0
"""Places farther than this from the neck axis, seen from the center, are fitted; a bump of the
junction lies nearer, and the rest of what is not round loses its say by the robust fit."""
HONEST_MM = 0.15
"""Spread of a head's surface about a sphere that is never doubted."""
NEAR_SHARE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneMesh:
    """A bone as the landmark finders use it.

    Attributes
    ----------
    vertices, faces
        (n, 3) mm and (m, 3).
    normals, areas_mm2
        Outward at each vertex (n, 3), and the area that belongs to it (n,).
    """

    vertices: Floats
    faces: Faces
    normals: Floats
    areas_mm2: Floats

    @classmethod
    def of(cls, vertices: Floats, faces: Faces) -> BoneMesh:
        """Make one from its triangles."""
        third = face_areas_mm2(vertices, faces) / 3.0
        areas = np.zeros(len(vertices))
        for corner in range(3):
            areas += np.bincount(faces[:, corner], weights=third, minlength=len(vertices))
        return cls(
            vertices=vertices,
            faces=faces,
            normals=vertex_normals(vertices, faces),
            areas_mm2=areas,
        )

    def within(self, center: Floats, reach_mm: float) -> BoneMesh:
        """The triangles that have a corner within reach of a place."""
        near = np.linalg.norm(self.vertices - center, axis=1) < reach_mm
        one, two, three = near[self.faces.T]
        return self.part(one | two | three)

    def part(self, kept: NDArray[np.bool_]) -> BoneMesh:
        """Some of the triangles, (m,), with their own vertices alone."""
        used, inverse = np.unique(self.faces[kept], return_inverse=True)
        return BoneMesh(
            vertices=self.vertices[used],
            faces=inverse.reshape(-1, 3).astype(np.int32),
            normals=self.normals[used],
            areas_mm2=self.areas_mm2[used],
        )


def seek_head(bone: BoneMesh) -> SphereFit:
    """Find the sphere that the most surface near the upper end points at.

    Every place votes for the centers that lie behind it, along its normal, at the radii of
    heads; shafts and condyles do not gather votes in one spot near the upper end.

    Raises
    ------
    DegenerateGeometryError
        No part of it is round enough.
    """
    level = bone.vertices[:, 2]
    upper = (level > level.max() - SEEN_BELOW_TOP_MM) & (bone.areas_mm2 > 0)
    places, normals, areas = bone.vertices[upper], bone.normals[upper], bone.areas_mm2[upper]
    corner = places.min(axis=0) - VOTE_CELL_MM
    shape = tuple(np.ceil((np.ptp(places, axis=0) + 2 * VOTE_CELL_MM) / VOTE_CELL_MM).astype(int))
    best, share = (np.zeros(3), 0.0), 0.0
    for radius in RADII_MM:
        cells = np.floor((places - radius * normals - corner) / VOTE_CELL_MM).astype(np.int64)
        inside = ((cells >= 0) & (cells < shape)).all(axis=1)
        flat = np.ravel_multi_index(tuple(cells[inside].T), shape)
        votes = np.bincount(flat, weights=areas[inside], minlength=int(np.prod(shape)))
        smooth = 27.0 * uniform_filter(votes.reshape(shape), 3, mode="constant")
        found = float(smooth.max()) / (4.0 * np.pi * radius**2)
        if found > share:
            place = np.array(np.unravel_index(int(smooth.argmax()), shape)) + 0.5
            best, share = (corner + place * VOTE_CELL_MM, float(radius)), found
    if share < FEWEST_OF_A_SPHERE:
        raise DegenerateGeometryError(
            "cannot find the head of the femur",
            found=f"at most {100 * share:.0f} % of a sphere of 15 to 33 mm near its upper end",
            needed=f"{100 * FEWEST_OF_A_SPHERE:.0f} % or more",
            next_step="Check that this bone is a femur with its head, and lies right way up.",
        )
    center, radius = best
    near = np.abs(np.linalg.norm(places - center, axis=1) - radius) < NEAR_SHARE * radius
    near &= np.einsum("ij,ij->i", places - center, normals) > 0.8 * radius
    start = SphereFit(center=center, radius=radius, weights=areas[near])
    return fit_sphere_robustly(places[near], areas[near], start=start, floor=HONEST_MM)


def articular_weights(bone: BoneMesh, center: Floats, radius: float, neck: Floats) -> Floats:
    """How much each place belongs to what articulates, by area, (n,).

    Parameters
    ----------
    neck
        Unit direction from the center toward the base of the neck.
    """
    out = bone.vertices - center
    away = np.linalg.norm(out, axis=1)
    angle = np.degrees(np.arccos(np.clip(out @ neck / np.maximum(away, 1e-9), -1.0, 1.0)))
    span = ARTICULATES_SURELY_DEG - ARTICULATES_FROM_DEG
    region = np.clip((angle - ARTICULATES_FROM_DEG) / span, 0.0, 1.0)
    near = np.abs(away - radius) < NEAR_SHARE * radius
    facing = np.einsum("ij,ij->i", out, bone.normals) > 0
    return region * near * facing * bone.areas_mm2


def head_sphere(bone: BoneMesh, start: SphereFit, neck: Floats) -> SphereFit:
    """Sphere of the head: robust, by area, over what lies away from the neck.

    Fitted are the places that are more than 70° (fading in to 80°) away from the neck
    axis; the bump of a cam, the pit of the ligament and osteophytes stand off the sphere and
    lose their say.
    """
    weights = articular_weights(bone, start.center, start.radius, neck)
    kept = weights > 0
    places, w = bone.vertices[kept], weights[kept]
    return fit_sphere_robustly(places, w, start=start, floor=HONEST_MM)


def sphere_about(bone: BoneMesh, center: Floats, radius: float, neck: Floats) -> SphereFit:
    """Sphere about a center that a reader placed: only its radius is fitted."""
    weights = articular_weights(bone, center, radius, neck)
    kept = weights > 0
    return SphereFit(
        center=center,
        radius=radius_about(center, bone.vertices[kept], weights[kept]),
        weights=weights[kept],
    )
