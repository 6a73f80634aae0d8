"""The lower end of a femur, and the tibia: what version and torsion are read against.

Axes: X lateral, Y anterior, Z superior, mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.anatomy.femur_shaft import FemurAxes
from hipwright.engines.geometry.meshes import face_pieces
from hipwright.engines.geometry.spheres import SphereFit

Floats = NDArray[np.float64]

KNEE_BELOW = 12.0
"""Head radii below the head's center from which on a lower end is taken for the knee."""
KNEE_MM = 45.0
"""Height of the part of the femur that holds the condyles."""
WIDER_THAN = 2.2
"""Head radii across which the condyles are at least wide."""
EPICONDYLES_MM = (12.0, 42.0)
"""Heights over the lowest bone between which the epicondyles stand out."""
CONDYLES_APART = 0.9
"""Head radii that the hindmost points of the two condyles are at least apart."""
PLATEAU_MM = 14.0
"""Height of the part of the tibia that holds its condyles."""
ANKLE_BELOW_MM = 200.0
MALLEOLUS_MM = 30.0
THIN_PIECE = 0.4
"""Pieces of the shank with less than this share of the largest one's volume are no tibia."""
_NOWHERE = np.full((2, 3), np.nan)


def up_from_lowest(bone: BoneMesh, head: SphereFit) -> Floats | None:
    """Unit direction from the lower end of a long femur to its head; ``None`` for a short one.

    Where the knee was scanned this is nearly the mechanical axis, however short the stretch
    of shaft below the hip that was scanned as well.
    """
    out = bone.vertices - head.center
    away = np.linalg.norm(out, axis=1)
    if away.max() < KNEE_BELOW * head.radius:
        return None
    low = away > away.max() - KNEE_MM
    down = np.average(out[low], axis=0, weights=bone.areas_mm2[low])
    return -down / np.linalg.norm(down)


def knee_points(bone: BoneMesh, head: SphereFit, axes: FemurAxes) -> tuple[Floats, Floats]:
    """Hindmost points of the condyles and tips of the epicondyles, (2, 3) each, medial first.

    Returns
    -------
    tuple
        NaN where the knee was not scanned.

    Notes
    -----
    The condyles are what a straight edge laid on them from behind touches, seen along the
    shaft. The epicondyles are what stands out most along that edge.
    """
    height = (bone.vertices - head.center) @ axes.up
    lowest = float(height.min())
    if lowest > -KNEE_BELOW * head.radius:
        return _NOWHERE.copy(), _NOWHERE.copy()
    knee = bone.vertices[height < lowest + KNEE_MM]
    condyles = _laid_on(knee, axes, CONDYLES_APART * head.radius)
    if condyles is None:
        return _NOWHERE.copy(), _NOWHERE.copy()
    along = condyles[1] - condyles[0]
    along = along - (along @ axes.up) * axes.up
    along /= np.linalg.norm(along)
    if np.ptp(knee @ along) < WIDER_THAN * head.radius:
        return _NOWHERE.copy(), _NOWHERE.copy()
    over = height - lowest
    band = bone.vertices[(over > EPICONDYLES_MM[0]) & (over < EPICONDYLES_MM[1])]
    spread = band @ along
    return condyles, np.array([band[int(spread.argmin())], band[int(spread.argmax())]])


def _laid_on(places: Floats, axes: FemurAxes, apart_mm: float) -> Floats | None:
    """The two places that a straight edge laid on from behind touches, medial first.

    Of all edges of the hull, seen along the shaft, that are long enough to span from one
    condyle to the other and look more backward than sideward, the hindmost.
    """
    flat = np.column_stack([places @ axes.lateral, places @ axes.anterior])
    hull = ConvexHull(flat)
    corners = hull.vertices  # counterclockwise in two dimensions
    following = np.roll(corners, -1)
    run = flat[following] - flat[corners]
    length = np.linalg.norm(run, axis=1)
    backward = run[:, 0] / np.maximum(length, 1e-12)  # outward normal is (run_y, -run_x)
    spans = (length > apart_mm) & (backward > 0.5)  # noqa: PLR2004 (within 60° of straight back)
    if not spans.any():
        return None
    best = int(np.where(spans, length * backward, -np.inf).argmax())
    pair = places[[corners[best], following[best]]]
    return pair if pair[0] @ axes.lateral < pair[1] @ axes.lateral else pair[::-1]


def shank_points(shank: BoneMesh, lateral: Floats) -> tuple[Floats, Floats]:
    """Hindmost points of the tibial plateau, and tips of the malleoli, (2, 3), medial first.

    Parameters
    ----------
    shank
        Tibia, with the fibula as a piece of its own where it was modeled.
    lateral
        Roughly the lateral direction of the leg.

    Returns
    -------
    tuple
        NaN where the ankle was not scanned, or the fibula (the lateral malleolus is its) is
        not in the model.
    """
    pieces = face_pieces(shank.faces)
    a, b, c = (shank.vertices[shank.faces[:, k]] for k in range(3))
    volumes = np.abs(np.bincount(pieces, weights=np.einsum("ij,ij->i", a, np.cross(b, c))))
    thin = np.flatnonzero(volumes < THIN_PIECE * volumes.max())
    tibia = np.unique(shank.faces[~np.isin(pieces, thin)])
    places = shank.vertices[tibia]
    middle = places.mean(axis=0)
    _, _, directions = np.linalg.svd(places - middle, full_matrices=False)
    up = directions[0] * np.sign(directions[0][2])
    axes = FemurAxes.of(up, lateral)
    side = axes.lateral
    height = places @ up
    plateau = _laid_on(places[height > height.max() - PLATEAU_MM], axes, 15.0)
    malleoli = _NOWHERE.copy()
    if np.ptp(height) > ANKLE_BELOW_MM:
        ankle = places[height < height.min() + MALLEOLUS_MM]
        malleoli[0] = ankle[int((ankle @ (-side - 0.5 * up)).argmax())]
        fibula = shank.vertices[np.unique(shank.faces[np.isin(pieces, thin)])]
        if len(fibula) and np.ptp(fibula @ up) > ANKLE_BELOW_MM:
            malleoli[1] = fibula[int((fibula @ up).argmin())]
    return (_NOWHERE.copy() if plateau is None else plateau), malleoli
