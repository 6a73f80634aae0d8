"""The sphere of a socket, found on the hip bone alone, whichever way it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Surface
from hipwright.domain.errors import SurfaceError
from hipwright.engines.geometry.meshes import face_vectors_mm2

Floats = NDArray[np.float64]

RADII_MM = np.arange(17.0, 37.0, 1.5)
"""Radii that are looked for: heads of 32 to 64 mm across with their joint space."""

_CELL_MM = 3.0
_ROUNDS = 14
_FACING = 0.8  # cosine between a face's normal and the way to the center
_WIDE_MM, _NARROW_MM = 5.0, 1.2
_SOFT_MM = 0.35
_INSIDE_MM = 6.0  # how far inside a sphere bone is still looked for
_IN_THE_WAY = 4.0  # such bone weighs this much more: a socket is hollow (judgment)
_NEARBY_MM = 12.0
_STARTS = 6
_SEARCHED_FACES = 25_000
_WIDER_MM = (0.0, 1.5)
_STEPS_OUT_MM = (
    1.5,
    3.0,
    4.5,
    6.0,
)  # a fit that sank into the fossa starts again from farther out
_LEAST_AREA_MM2 = 350.0
_LEAST_SHARE = 0.12  # of the sphere's area: a socket covers about 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SocketSphere:
    """Sphere of the articular surface.

    Attributes
    ----------
    center, radius_mm
        Shape (3,), mm, and mm.
    faces
        Rows of the surface's faces that lie on it and look to its center.
    residual_mm
        Root of the mean squared distance of those faces from the sphere.
    toward
        Unit mean of the directions from the center to them, (3,): into the socket.
    """

    center: Floats
    radius_mm: float
    faces: NDArray[np.int64]
    residual_mm: float
    toward: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pieces:
    """Middles (n, 3), outward unit normals (n, 3) and areas (n,) of the faces."""

    middles: Floats
    normals: Floats
    areas: Floats

    def thinned(self) -> _Pieces:
        """Every so manieth of them, standing for its neighbors: enough to search with."""
        step = max(1, len(self.areas) // _SEARCHED_FACES)
        return _Pieces(
            middles=self.middles[::step],
            normals=self.normals[::step],
            areas=self.areas[::step] * step,
        )

    def around(self, center: Floats, reach_mm: float) -> _Pieces:
        """Those within a distance of a place."""
        near = ((self.middles - center) ** 2).sum(axis=1) < reach_mm**2
        return _Pieces(
            middles=self.middles[near], normals=self.normals[near], areas=self.areas[near]
        )


def find_socket(hip_bone: Surface, *, near: Floats | None = None) -> SocketSphere:
    """Find the articular sphere on a hip bone in any pose.

    Every piece of surface votes for the places a radius away along its normal; the votes of
    a hollow sphere meet in its center. The winner is refined by a robust fit to the faces
    that look to the center, without the deeper fossa.

    Parameters
    ----------
    hip_bone
        Its surface.
    near
        Where the center is about, (3,) mm, for example that of the femoral head.

    Raises
    ------
    SurfaceError
        No hollow of the size of a hip socket is there.
    """
    one, two, three = hip_bone.vertices[hip_bone.faces.T]
    middles = (one + two + three) / 3.0
    vectors = face_vectors_mm2(hip_bone.vertices, hip_bone.faces)
    areas = np.linalg.norm(vectors, axis=1) / 2
    normals = vectors / np.maximum(2 * areas, 1e-12)[:, None]
    pieces = _Pieces(middles=middles, normals=normals, areas=areas)
    few = pieces.thinned()
    starts = _most_voted(few) if near is None else [(near, radius) for radius in RADII_MM[2:9:2]]
    found = [_refined(few, center, radius) for center, radius in starts]
    center, radius = max(found, key=lambda sphere: _merit(few, *sphere))
    outward = -_toward(few, center, radius)
    found += [
        _refined(few, center + step * outward, radius + wider, wide=_NARROW_MM)
        for step in _STEPS_OUT_MM
        for wider in _WIDER_MM
    ]
    best = max(found, key=lambda sphere: _merit(few, *sphere))
    center, radius = _refined(pieces, *best, wide=_NARROW_MM)
    on = _on_sphere(pieces, center, radius, _NARROW_MM)
    area = float(areas[on].sum())
    plausible = RADII_MM[0] - 2 < radius < RADII_MM[-1] + 2
    if area < _LEAST_AREA_MM2 or area < _LEAST_SHARE * 4 * np.pi * radius**2 or not plausible:
        raise SurfaceError(
            "cannot find the socket",
            found=f"{area:.0f} mm² on a hollow sphere of {radius:.1f} mm",
            needed=f"at least {_LEAST_SHARE:.0%} of a hollow sphere of {RADII_MM[0]:.0f} to "
            f"{RADII_MM[-1]:.0f} mm",
            next_step="Check that this bone is a hip bone and that its socket was scanned.",
        )
    away = middles[on] - center
    distance = np.linalg.norm(away, axis=1)
    off = np.average((distance - radius) ** 2, weights=areas[on])
    return SocketSphere(
        center=center,
        radius_mm=radius,
        faces=np.flatnonzero(on),
        residual_mm=float(np.sqrt(off)),
        toward=_toward(pieces, center, radius),
    )


def _most_voted(pieces: _Pieces) -> list[tuple[Floats, float]]:
    """Give the fullest cell for every radius, the fullest of all first."""
    middles, normals = pieces.middles, pieces.normals
    low = middles.min(axis=0) - RADII_MM[-1]
    span = np.ceil((np.ptp(middles, axis=0) + 2 * RADII_MM[-1]) / _CELL_MM).astype(int) + 1
    won: list[tuple[float, Floats, float]] = []
    for radius in RADII_MM.tolist():
        places = middles + radius * normals
        flat = np.ravel_multi_index(tuple(((places - low) / _CELL_MM).astype(int).T), tuple(span))
        votes = np.bincount(flat, weights=pieces.areas)
        fullest = int(votes.argmax())
        won.append(
            (float(votes[fullest]) / radius**2, places[flat == fullest].mean(axis=0), radius)
        )
    won.sort(key=lambda cell: -cell[0])
    return [(center, radius) for _, center, radius in won[:_STARTS]]


def _refined(
    pieces: _Pieces, center: Floats, radius: float, *, wide: float = _WIDE_MM
) -> tuple[Floats, float]:
    pieces = pieces.around(center, radius + _NEARBY_MM)
    for turn in range(_ROUNDS):
        reach = wide + (_NARROW_MM - wide) * min(turn / (_ROUNDS - 4), 1.0)
        on = _on_sphere(pieces, center, radius, reach)
        if pieces.areas[on].sum() < _LEAST_AREA_MM2:
            break
        center, radius = _fit(pieces.middles[on], pieces.areas[on], center, radius)
    return center, radius


def _merit(pieces: _Pieces, center: Floats, radius: float) -> float:
    """Area on the sphere, less what looks to the center from inside of it: a head lies there."""
    pieces = pieces.around(center, radius + _NEARBY_MM)
    near = _on_sphere(pieces, center, radius, _INSIDE_MM)
    off = np.linalg.norm(pieces.middles[near] - center, axis=1) - radius
    areas = pieces.areas[near]
    within = np.abs(off) < _NARROW_MM
    fitting = float((areas / (1.0 + (off / _SOFT_MM) ** 2))[within].sum())
    return fitting - _IN_THE_WAY * float(areas[off < -_NARROW_MM].sum())


def _toward(pieces: _Pieces, center: Floats, radius: float) -> Floats:
    on = _on_sphere(pieces, center, radius, _NARROW_MM)
    away = pieces.middles[on] - center
    mean = (pieces.areas[on] / np.linalg.norm(away, axis=1)) @ away
    return mean / max(float(np.linalg.norm(mean)), 1e-12)


def _on_sphere(pieces: _Pieces, center: Floats, radius: float, reach: float) -> NDArray[np.bool_]:
    away = pieces.middles - center
    distance = np.linalg.norm(away, axis=1)
    facing = -np.einsum("ij,ij->i", pieces.normals, away) > _FACING * distance
    return facing & (np.abs(distance - radius) < reach)


def _fit(points: Floats, weights: Floats, center: Floats, radius: float) -> tuple[Floats, float]:
    """One weighted Gauss-Newton step of a sphere fit that outliers move little."""
    away = points - center
    distance = np.linalg.norm(away, axis=1)
    off = distance - radius
    trust = weights / (1.0 + (off / _SOFT_MM) ** 2)
    slopes = np.column_stack([away / distance[:, None], np.ones(len(points))])
    normal = slopes.T @ (slopes * trust[:, None])
    wanted = slopes.T @ (trust * off)
    try:
        step = np.asarray(np.linalg.solve(normal, wanted), dtype=np.float64)
    except np.linalg.LinAlgError:  # all pieces lie in one direction: the shortest step will do
        step = np.asarray(np.linalg.lstsq(normal, wanted)[0], dtype=np.float64)
    return center + step[:3], radius + float(step[3])
