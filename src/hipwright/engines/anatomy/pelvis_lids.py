"""Flat lids, where a scan ended inside a bone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Surface
from hipwright.engines.geometry.meshes import face_vectors_mm2

Floats = NDArray[np.float64]

_LEAST_AREA_MM2 = 60.0
_FLAT_MM = 0.3
_PARALLEL = 0.997  # cosine of 4.4°
_BINS = 12.0  # directions a unit of a normal's component
_BEYOND_MM = 0.6
_TRIED = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lid:
    """A plane that closes a bone where the scan ended: unit outward normal (3,), offset in mm."""

    normal: Floats
    offset_mm: float

    def depths_mm(self, points: Floats) -> Floats:
        """How deep points lie under the lid, (...)."""
        return self.offset_mm - points @ self.normal


def flat_lids(surface: Surface) -> tuple[Lid, ...]:
    """Find flat pieces of surface beyond which there is no bone at all.

    A natural bone touches a plane in a few square millimeters; a lid lies on it with the
    whole section of the bone.
    """
    vectors = face_vectors_mm2(surface.vertices, surface.faces)
    areas = np.linalg.norm(vectors, axis=1) / 2
    normals = vectors / np.maximum(2 * areas, 1e-12)[:, None]
    middles = surface.vertices[surface.faces].mean(axis=1)
    offsets = np.einsum("ij,ij->i", normals, middles)
    turned = np.rint(normals * _BINS).astype(np.int64) + int(_BINS)
    keys = np.rint(offsets).astype(np.int64)
    for axis in range(turned.shape[1]):
        keys = keys * (2 * int(_BINS) + 1) + turned[:, axis]
    group = np.unique(keys, return_inverse=True)[1]
    sizes = np.bincount(group, weights=areas)
    found: list[Lid] = []
    for seed in np.argsort(-sizes)[:_TRIED].tolist():
        member = group == seed
        normal = (areas[member, None] * normals[member]).sum(axis=0)
        normal /= np.linalg.norm(normal)
        offset = float(np.average(middles[member] @ normal, weights=areas[member]))
        on = (normals @ normal > _PARALLEL) & (np.abs(middles @ normal - offset) < _FLAT_MM)
        beyond = float((surface.vertices @ normal).max()) - offset
        known = any(
            lid.normal @ normal > _PARALLEL and abs(lid.offset_mm - offset) < 1.0 for lid in found
        )
        if not known and float(areas[on].sum()) > _LEAST_AREA_MM2 and beyond < _BEYOND_MM:
            found.append(Lid(normal=normal, offset_mm=offset))
    return tuple(found)
