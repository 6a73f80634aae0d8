"""Rods, cones and plates as fields, joined with fillets: what analytic bones are made of."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Field = NDArray[np.float32]

ROD_COLUMNS = 8
"""Start (3), end (3), radius there and there."""
PLATE_COLUMNS = 10
"""Three corners (9) and half the thickness."""


def rod(start: Floats, end: Floats, radius: float, end_radius: float | None = None) -> Floats:
    """A row for :func:`parts_at`: a rod with round ends, or a cone of two radii, mm."""
    return np.array([*start, *end, radius, radius if end_radius is None else end_radius])


def ball(center: Floats, radius: float) -> Floats:
    """A row for :func:`parts_at`: a rod of no length."""
    return rod(center, center, radius)


def plate(one: Floats, two: Floats, three: Floats, half_thickness: float) -> Floats:
    """A row for :func:`parts_at`: a triangle with a thickness, mm."""
    return np.array([*one, *two, *three, half_thickness])


@njit(cache=True, nogil=True)
def joined(one: float, two: float, blend: float) -> float:
    """Field of two bodies, their seam filleted over ``blend`` mm."""
    both = min(one, two)
    near = blend - abs(one - two)
    return both - near * near / (4.0 * blend) if blend > 0.0 and near > 0.0 else both


@njit(cache=True, nogil=True)
def _rod_at(x: float, y: float, z: float, row: Floats) -> float:
    ax, ay, az = x - row[0], y - row[1], z - row[2]
    bx, by, bz = row[3] - row[0], row[4] - row[1], row[5] - row[2]
    length = bx * bx + by * by + bz * bz
    share = 0.0
    if length > 0.0:
        share = min(max((ax * bx + ay * by + az * bz) / length, 0.0), 1.0)
    ax, ay, az = ax - share * bx, ay - share * by, az - share * bz
    return np.sqrt(ax * ax + ay * ay + az * az) - (row[6] + share * (row[7] - row[6]))


@njit(cache=True, nogil=True)
def _segment_squared(px: float, py: float, pz: float, qx: float, qy: float, qz: float) -> float:
    """Squared distance of p from the segment 0…q."""
    share = min(max((px * qx + py * qy + pz * qz) / (qx * qx + qy * qy + qz * qz), 0.0), 1.0)
    dx, dy, dz = px - share * qx, py - share * qy, pz - share * qz
    return dx * dx + dy * dy + dz * dz


@njit(cache=True, nogil=True)
def _plate_at(x: float, y: float, z: float, row: Floats) -> float:
    ux, uy, uz = row[3] - row[0], row[4] - row[1], row[5] - row[2]
    vx, vy, vz = row[6] - row[0], row[7] - row[1], row[8] - row[2]
    px, py, pz = x - row[0], y - row[1], z - row[2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    nn = nx * nx + ny * ny + nz * nz
    cx, cy, cz = py * vz - pz * vy, pz * vx - px * vz, px * vy - py * vx
    one = (nx * cx + ny * cy + nz * cz) / nn
    cx, cy, cz = uy * pz - uz * py, uz * px - ux * pz, ux * py - uy * px
    two = (nx * cx + ny * cy + nz * cz) / nn
    if one >= 0.0 and two >= 0.0 and one + two <= 1.0:
        return abs(px * nx + py * ny + pz * nz) / np.sqrt(nn) - row[9]
    near = min(_segment_squared(px, py, pz, ux, uy, uz), _segment_squared(px, py, pz, vx, vy, vz))
    near = min(
        near,
        _segment_squared(px - ux, py - uy, pz - uz, vx - ux, vy - uy, vz - uz),
    )
    return np.sqrt(near) - row[9]


@njit(cache=True, nogil=True)
def _all_at(x: float, y: float, z: float, rods: Floats, plates: Floats, blend: float) -> float:
    value = 1e3
    for k in range(rods.shape[0]):
        value = joined(value, _rod_at(x, y, z, rods[k]), blend)
    for k in range(plates.shape[0]):
        value = joined(value, _plate_at(x, y, z, plates[k]), blend)
    return value


@njit(cache=True, nogil=True)
def parts_at(points: Floats, rods: Floats, plates: Floats, blend: float) -> Floats:
    """Field of all parts at points (n, 3), joined one after another; shape (n,), mm."""
    out = np.empty(points.shape[0])
    for i in range(points.shape[0]):
        out[i] = _all_at(points[i, 0], points[i, 1], points[i, 2], rods, plates, blend)
    return out
