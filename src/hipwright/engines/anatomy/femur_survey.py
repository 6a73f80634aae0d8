"""Surveying a femur: from its surface and landmarks to what the measurements in space see."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Surface
from hipwright.domain.errors import LandmarkError
from hipwright.engines.anatomy.femur_head import BoneMesh, head_sphere, sphere_about
from hipwright.engines.anatomy.femur_in_space import FemurInSpace
from hipwright.engines.anatomy.femur_landmarks import (
    CONDYLES,
    EPICONDYLES,
    GREATER,
    HEAD_CENTER,
    HEAD_ROUNDS,
    ISTHMUS,
    LESSER,
    MALLEOLI,
    SHAFT,
    TIBIAL_CONDYLES,
    VERSION,
    long_axis,
)
from hipwright.engines.anatomy.femur_neck import (
    SPHERE_SHARES,
    axis_by_sphere,
    tree_of,
)
from hipwright.engines.anatomy.femur_polar import around, clock_up, polar_directions
from hipwright.engines.anatomy.femur_shaft import (
    Shaft,
    carried_on,
    lowest_middle,
    lying_axis,
)
from hipwright.engines.geometry.mesh_rays import tree_hits_mm
from hipwright.engines.geometry.mesh_tree import MeshTree
from hipwright.engines.geometry.spheres import SphereFit

Floats = NDArray[np.float64]

HOURS = np.arange(0.0, 12.0, 0.25)
ANGLES_DEG = np.arange(16.0, 181.0, 1.0)
STATIONS = (0.4, 1.7)
"""Head radii along the neck axis between which the neck is surveyed."""
STATION_STEP_MM = 1.0
SEEN = 3.6
"""Head radii around the center within which the surface is surveyed: to beyond the trochanter."""
PLACED_BY_READER_MM = 0.02
"""A head center farther than this from the fitted one was placed by a reader."""
STARTING_RADIUS_MM = 24.0
UPRIGHT = np.array([0.0, 0.0, 1.0])
ORDINARY_NECK = np.array([0.75, -0.2, -0.65])
"""Roughly where an ordinary neck goes from the head: outward, down and a little back."""


def survey_femur(
    femur: Surface, landmarks: Mapping[str, Floats], *, upright: Floats = UPRIGHT
) -> FemurInSpace:
    """Survey one femur.

    Parameters
    ----------
    femur
        Its closed surface in ``hip_canonical``.
    landmarks
        Places (3,) in the same frame by the catalog's ids; those of the shank among them.
        The head's center is needed, others may be absent.
    upright
        Unit direction up the table of the scan, which stands in for a shaft and a knee that were
        not scanned.

    Returns
    -------
    FemurInSpace
        Without leading axes. Without the two ends of the shaft its axis is NaN, and the long
        axis goes by the knee, or else by the table.

    Raises
    ------
    LandmarkError
        The head's center is absent.
    DegenerateGeometryError
        The surface has no neck where the landmarks say.

    Notes
    -----
    The sphere is fitted again from the landmark; where a reader has moved the center, it stays
    where the reader put it and only the radius is fitted.
    """
    if HEAD_CENTER not in landmarks:
        raise LandmarkError(
            "cannot survey the femur",
            found=f"no {HEAD_CENTER}",
            needed="the center of its head",
            next_step="Place the landmark, or check the bone model.",
            field=HEAD_CENTER,
        )
    mesh = BoneMesh.of(femur.vertices, femur.faces)
    stretch = _stretch(landmarks)
    lying = lying_axis(upright)
    roughly = lying if stretch is None else stretch.axis
    head, neck, tree = _head_and_neck(
        mesh, landmarks[HEAD_CENTER], _toward_neck(landmarks, stretch)
    )
    murphy = landmarks.get(VERSION[-1], np.full(3, np.nan))
    if np.isfinite(murphy).all():
        base = murphy
    else:
        base = lowest_middle(mesh, head, roughly) if stretch is None else stretch.high
    epicondyles = _several(landmarks, EPICONDYLES)
    if np.isfinite(epicondyles).all() and np.isfinite(base).all():
        long = long_axis(base, epicondyles)
    else:
        long = lying if stretch is None else carried_on(mesh, head, stretch, neck)[0]
    up = clock_up(neck, long)
    ways = polar_directions(neck, up, HOURS, ANGLES_DEG)
    stations = np.arange(STATIONS[0] * head.radius, STATIONS[1] * head.radius, STATION_STEP_MM)
    narrow = landmarks.get(ISTHMUS, np.full(3, np.nan))
    toward = narrow - head.center
    return FemurInSpace(
        head_center=head.center,
        head_radius_mm=np.array(head.radius),
        neck_axis=neck,
        neck_axis_isthmus=toward / np.linalg.norm(toward),
        isthmus=narrow,
        shaft_point=base,
        shaft_axis=np.full(3, np.nan) if stretch is None else stretch.axis,
        long_axis=long,
        posterior_condyles=_several(landmarks, CONDYLES),
        epicondyles=epicondyles,
        version_points=_several(landmarks, VERSION),
        greater_trochanter=landmarks.get(GREATER, np.full(3, np.nan)),
        lesser_trochanter=landmarks.get(LESSER, np.full(3, np.nan)),
        clock_up=up,
        hours=HOURS,
        angles_deg=ANGLES_DEG,
        radial_mm=tree_hits_mm(tree, head.center, ways),
        stations_mm=stations,
        neck_mm=_neck_mm(tree, head.center, neck, up, stations),
        malleoli=_several(landmarks, MALLEOLI),
        tibial_condyles=_several(landmarks, TIBIAL_CONDYLES),
    )


def _several(landmarks: Mapping[str, Floats], names: tuple[str, ...]) -> Floats:
    return np.array([landmarks.get(name, np.full(3, np.nan)) for name in names])


def _stretch(landmarks: Mapping[str, Floats]) -> Shaft | None:
    """The stretch of shaft between its two landmarks, ``None`` where they are absent."""
    if not all(name in landmarks for name in SHAFT):
        return None
    upper, lower = landmarks[SHAFT[0]], landmarks[SHAFT[1]]
    axis = (upper - lower) / np.linalg.norm(upper - lower)
    return Shaft(point=upper, axis=axis, low=lower, high=upper)


def _toward_neck(landmarks: Mapping[str, Floats], stretch: Shaft | None) -> Floats:
    """Roughly where the neck goes: to its narrowest place, or to the shaft, or as most do."""
    center = landmarks[HEAD_CENTER]
    if ISTHMUS in landmarks:
        toward = landmarks[ISTHMUS] - center
    elif stretch is not None:
        across = stretch.high - center
        across = across - (across @ stretch.axis) * stretch.axis
        toward = across / np.linalg.norm(across) - 0.8 * stretch.axis
    else:
        toward = ORDINARY_NECK
    return toward / np.linalg.norm(toward)


def _head_and_neck(
    mesh: BoneMesh, placed: Floats, guess: Floats
) -> tuple[SphereFit, Floats, MeshTree]:
    start = SphereFit(center=placed, radius=STARTING_RADIUS_MM, weights=np.ones(1))
    near = mesh.within(placed, SEEN * start.radius)
    head = sphere_about(near, placed, STARTING_RADIUS_MM, guess)
    near = mesh.within(placed, SEEN * head.radius)
    tree, neck = tree_of(near), guess
    fitted = head
    for _ in range(HEAD_ROUNDS):
        fitted = head_sphere(near, fitted, neck)
        neck = axis_by_sphere(tree, fitted, neck, SPHERE_SHARES[0])
    if np.linalg.norm(fitted.center - placed) <= PLACED_BY_READER_MM:
        return fitted, neck, tree
    neck = axis_by_sphere(tree, head, neck, SPHERE_SHARES[0])
    head = sphere_about(near, placed, head.radius, neck)
    return head, axis_by_sphere(tree, head, neck, SPHERE_SHARES[0]), tree


def _neck_mm(tree: MeshTree, center: Floats, neck: Floats, up: Floats, stations: Floats) -> Floats:
    ring = around(neck, up, HOURS)[:, None, :]
    starts = center + stations[:, None] * neck
    return tree_hits_mm(tree, starts[None], np.broadcast_to(ring, (len(HOURS), len(stations), 3)))
