"""Landmarks of the femora of one scan, and of the shanks where they were scanned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import load
from hipwright.domain.anatomy import Bone, BoneLandmarks, SpacePoint, Surface
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.anatomy.femur_head import BoneMesh, head_sphere, seek_head
from hipwright.engines.anatomy.femur_in_space import VERSION_POINTS
from hipwright.engines.anatomy.femur_knee import knee_points, shank_points, up_from_lowest
from hipwright.engines.anatomy.femur_neck import (
    SPHERE_SHARES,
    Isthmus,
    axis_by_sphere,
    first_guess,
    isthmus,
    neck_reach,
    tree_of,
)
from hipwright.engines.anatomy.femur_shaft import (
    LESSER_BELOW_MM,
    ROUGH_MM,
    SHORTEST_MM,
    FemurAxes,
    Shaft,
    carried_on,
    greater_trochanter,
    lesser_trochanter,
    lowest_middle,
    lying_axis,
    shaft_axis,
)
from hipwright.engines.anatomy.femur_version import version_points
from hipwright.engines.geometry.spheres import SphereFit

Floats = NDArray[np.float64]

HEAD_CENTER = "femoral_head_center"
ISTHMUS = "femoral_neck_isthmus"
SHAFT = ("femoral_shaft_proximal", "femoral_shaft_distal")
GREATER = "greater_trochanter_tip"
LESSER = "lesser_trochanter"
CONDYLES = ("posterior_condyle_medial", "posterior_condyle_lateral")
EPICONDYLES = ("epicondyle_medial", "epicondyle_lateral")
TIBIAL_CONDYLES = ("tibial_condyle_medial", "tibial_condyle_lateral")
MALLEOLI = ("malleolus_medial", "malleolus_lateral")
VERSION = tuple(f"version_point_{name}" for name in VERSION_POINTS)

FEMORA = (Bone.FEMUR_RIGHT, Bone.FEMUR_LEFT)
HEAD_ROUNDS = 4
NEAR_THE_HIP = 5.5
"""Head radii about the center that hold everything of the upper femur."""
SCAN_AXES = np.diag([-1.0, -1.0, 1.0])
"""Right, anterior and superior of the patient on the table."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UpperFemur:
    """Head, neck, shaft and knee as they were found, in the axes of the mesh.

    ``axes`` go by the long axis, which is that of the table where neither shaft nor knee was
    scanned; what was not scanned is ``None`` or NaN.
    """

    head: SphereFit
    neck_axis: Floats
    isthmus: Isthmus
    shaft: Shaft | None
    axes: FemurAxes
    greater: Floats | None
    lesser: Floats | None
    condyles: Floats
    epicondyles: Floats


def femur_landmarks(surfaces: Mapping[Bone, Surface]) -> BoneLandmarks:
    """Find the landmarks of both femora, and of the tibiae.

    Parameters
    ----------
    surfaces
        The bones in ``patient_lps``; all parts of a bone in one surface (a knee scanned as
        a block of its own belongs to its femur). Other bones are passed over.

    Returns
    -------
    BoneLandmarks
        What was found. A landmark that the scan does not reach is not there, and nothing of
        a femur whose head was not found. Spreads are the catalog's.

    Notes
    -----
    The leg may lie turned or flexed: everything but the search for the head goes by the
    bone's own axes.
    """
    points: list[SpacePoint] = []
    for bone in FEMORA:
        if bone in surfaces and bone.side is not None:
            shank = surfaces.get(Bone.tibia(bone.side))
            points += _of_one(bone, surfaces[bone], shank)
    return BoneLandmarks(points=tuple(points))


def _of_one(bone: Bone, surface: Surface, shank: Surface | None) -> list[SpacePoint]:
    side = bone.side
    if side is None or not len(surface.faces):
        return []
    border = HipBorder(
        side=side,
        app_from_lps=SCAN_AXES,
        origin_mm=np.zeros(3),
        fixed_to=surface.frame.fixed_to,
    )
    mesh = _mesh(border, surface)
    try:
        found = place_landmarks(mesh)
    except DegenerateGeometryError:
        return []
    if shank is not None and len(shank.faces):
        lateral = found[EPICONDYLES[1]] - found[EPICONDYLES[0]]
        plateau, malleoli = shank_points(
            _mesh(border, shank), lateral if np.isfinite(lateral).all() else np.eye(3)[0]
        )
        found |= dict(zip(TIBIAL_CONDYLES, plateau, strict=True))
        found |= dict(zip(MALLEOLI, malleoli, strict=True))
    features = load().bone_features
    return [
        SpacePoint(
            id=name,
            side=side,
            at_mm=_triple(border.from_canonical(place)),
            sd_mm=features[name].sd_mm,
        )
        for name, place in found.items()
        if np.isfinite(place).all()
    ]


def _mesh(border: HipBorder, surface: Surface) -> BoneMesh:
    turned = border.surface_to_canonical(surface)
    return BoneMesh.of(turned.vertices, turned.faces)


def _triple(place: Floats) -> tuple[float, float, float]:
    return float(place[0]), float(place[1]), float(place[2])


def place_landmarks(mesh: BoneMesh) -> dict[str, Floats]:
    """All landmarks of a femur by id, (3,) each in the axes of the mesh; NaN where absent.

    Parameters
    ----------
    mesh
        X lateral, Y anterior, Z superior, mm, roughly.

    Raises
    ------
    DegenerateGeometryError
        No head or no neck was found.
    """
    upper = upper_femur(mesh)
    head, shaft = upper.head, upper.shaft
    near = mesh.within(head.center, NEAR_THE_HIP * head.radius)
    ends = version_points(near, head, upper.isthmus, shaft, upper.axes, upper.lesser)
    nowhere = np.full(3, np.nan)
    return {
        HEAD_CENTER: head.center,
        ISTHMUS: upper.isthmus.middle,
        SHAFT[0]: nowhere if shaft is None else shaft.high,
        SHAFT[1]: nowhere if shaft is None else shaft.low,
        GREATER: nowhere if upper.greater is None else upper.greater,
        LESSER: nowhere if upper.lesser is None else upper.lesser,
        **dict(zip(CONDYLES, upper.condyles, strict=True)),
        **dict(zip(EPICONDYLES, upper.epicondyles, strict=True)),
        **dict(zip(VERSION, ends, strict=True)),
    }


def long_axis(base: Floats, epicondyles: Floats) -> Floats:
    """Unit direction from the middle of the epicondyles (..., 2, 3) to the upper shaft."""
    up = base - epicondyles.mean(axis=-2)
    return up / np.linalg.norm(up, axis=-1, keepdims=True)


def upper_femur(mesh: BoneMesh) -> UpperFemur:
    """Find head, neck, shaft, trochanters and knee, each refining the others.

    Raises
    ------
    DegenerateGeometryError
        No head or no neck was found.
    """
    head = seek_head(mesh)
    near = neck_reach(mesh, head)
    neck = first_guess(near, head)
    tree = tree_of(near)
    for _ in range(HEAD_ROUNDS):
        head = head_sphere(near, head, neck)
        neck = axis_by_sphere(tree, head, neck, SPHERE_SHARES[0])
    narrow = isthmus(near, head, neck)
    shaft, axes = _shaft_of(mesh, head, neck)
    toward_knee = up_from_lowest(mesh, head)
    if toward_knee is not None:
        axes = FemurAxes.of(toward_knee, neck)
    condyles, epicondyles = knee_points(mesh, head, axes)
    if np.isfinite(epicondyles).all():
        base = lowest_middle(mesh, head, axes.up) if shaft is None else shaft.high
        axes = FemurAxes.of(long_axis(base, epicondyles), neck)
        condyles, epicondyles = knee_points(mesh, head, axes)
    return UpperFemur(
        head=head,
        neck_axis=neck,
        isthmus=narrow,
        shaft=shaft,
        axes=axes,
        greater=greater_trochanter(mesh, head, narrow, axes),
        lesser=lesser_trochanter(mesh, head, axes),
        condyles=condyles,
        epicondyles=epicondyles,
    )


def _shaft_of(mesh: BoneMesh, head: SphereFit, neck: Floats) -> tuple[Shaft | None, FemurAxes]:
    """Axis of the shaft where enough of it was scanned, and the axes without a knee."""
    rough = _tried(mesh, head, None, ROUGH_MM)
    lying = lying_axis(np.array([0.0, 0.0, 1.0]))
    axes = FemurAxes.of(lying if rough is None else rough.axis, neck)
    lesser = lesser_trochanter(mesh, head, axes)
    shaft = None
    if lesser is not None:
        shaft = _tried(mesh, head, float((lesser - head.center) @ axes.up) - LESSER_BELOW_MM)
    shaft = shaft or _tried(mesh, head, None)  # a lesser trochanter that was not one
    long = lying if shaft is None else carried_on(mesh, head, shaft, neck)[0]
    return shaft, FemurAxes.of(long, neck)


def _tried(
    mesh: BoneMesh, head: SphereFit, top_level_mm: float | None, shortest_mm: float = SHORTEST_MM
) -> Shaft | None:
    try:
        return shaft_axis(mesh, head, top_level_mm=top_level_mm, shortest_mm=shortest_mm)
    except DegenerateGeometryError:
        return None
