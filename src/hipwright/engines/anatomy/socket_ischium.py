"""The room between the ischium and the lesser trochanter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Surface
from hipwright.engines.geometry.mesh_distance import closest_in_tree
from hipwright.engines.geometry.mesh_tree import mesh_tree

Floats = NDArray[np.float64]

_AROUND_TROCHANTER_MM = 22.0
_ISCHIUM_BELOW_MM, _ISCHIUM_BEHIND_MM = -28.0, 5.0
_FEMUR_BELOW_MM, _FEMUR_ABOVE_MM = -110.0, -25.0
_FEWEST = 20
_ROUNDS = 30


def ischiofemoral(
    hip_bone: Surface, femur: Surface | None, lesser_trochanter: Floats
) -> tuple[float, Floats]:
    """Smallest distance from the ischium to the femur around the lesser trochanter.

    Parameters
    ----------
    hip_bone, femur
        In ``hip_canonical``.
    lesser_trochanter
        Its tip, (3,); without it the femur from 25 to 110 mm below the head is taken.

    Returns
    -------
    tuple
        Distance in mm, and its two ends (ischium, femur), (2, 3); NaN where either was not
        scanned.
    """
    absent = float("nan"), np.full((2, 3), np.nan)
    if femur is None:
        return absent
    low, behind = hip_bone.vertices[:, 2], hip_bone.vertices[:, 1]
    ischium = (low < _ISCHIUM_BELOW_MM) & (behind < _ISCHIUM_BEHIND_MM)
    height = femur.vertices[:, 2]
    if np.isfinite(lesser_trochanter).all():
        away = np.linalg.norm(femur.vertices - lesser_trochanter, axis=1)
        near = away < _AROUND_TROCHANTER_MM
    else:
        near = (height > _FEMUR_BELOW_MM) & (height < _FEMUR_ABOVE_MM)
    if ischium.sum() < _FEWEST or near.sum() < _FEWEST:
        return absent
    there = mesh_tree(hip_bone.vertices, _of(hip_bone, ischium))
    here = mesh_tree(femur.vertices, _of(femur, near))
    found = closest_in_tree(there, femur.vertices[near])
    start = int(found.distances_mm.argmin())
    femoral, ischial = femur.vertices[near][start], found.points[start]
    for _ in range(_ROUNDS):
        femoral = closest_in_tree(here, ischial[None]).points[0]
        ischial = closest_in_tree(there, femoral[None]).points[0]
    return float(np.linalg.norm(femoral - ischial)), np.stack([ischial, femoral])


def _of(surface: Surface, chosen: NDArray[np.bool_]) -> NDArray[np.int32]:
    return surface.faces[chosen[surface.faces].all(axis=1)]
