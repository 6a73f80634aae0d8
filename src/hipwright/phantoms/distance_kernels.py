"""Compiled loops over grids: distance to triangles, inside or outside, depth."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Field = NDArray[np.float32]
Faces = NDArray[np.int32]

_NEEDLE_MM2 = 1e-12
_NONE_MM = 1e9
_OFF_GRID = 1.234567e-5  # mm: rays run beside the planes, so none hits an edge exactly


@njit(cache=True)
def _first_from(planes: Floats, at: float) -> int:
    """Index of the first plane at or beyond a coordinate."""
    low, high = 0, len(planes)
    while low < high:
        middle = (low + high) // 2
        if planes[middle] < at:
            low = middle + 1
        else:
            high = middle
    return low


@njit(cache=True, error_model="numpy")
def _square_distance(p0: float, p1: float, p2: float, a: Floats, b: Floats, c: Floats) -> float:
    """Squared distance from a point to a triangle (regions of the closest point)."""
    ab0, ab1, ab2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    ac0, ac1, ac2 = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    ap0, ap1, ap2 = p0 - a[0], p1 - a[1], p2 - a[2]
    d1 = ab0 * ap0 + ab1 * ap1 + ab2 * ap2
    d2 = ac0 * ap0 + ac1 * ap1 + ac2 * ap2
    bp0, bp1, bp2 = p0 - b[0], p1 - b[1], p2 - b[2]
    d3 = ab0 * bp0 + ab1 * bp1 + ab2 * bp2
    d4 = ac0 * bp0 + ac1 * bp1 + ac2 * bp2
    cp0, cp1, cp2 = p0 - c[0], p1 - c[1], p2 - c[2]
    d5 = ab0 * cp0 + ab1 * cp1 + ab2 * cp2
    d6 = ac0 * cp0 + ac1 * cp1 + ac2 * cp2
    va = d3 * d6 - d5 * d4
    vb = d5 * d2 - d1 * d6
    vc = d1 * d4 - d3 * d2
    if d1 <= 0.0 and d2 <= 0.0:
        v, w = 0.0, 0.0
    elif d3 >= 0.0 and d4 <= d3:
        v, w = 1.0, 0.0
    elif d6 >= 0.0 and d5 <= d6:
        v, w = 0.0, 1.0
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v, w = d1 / (d1 - d3), 0.0
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        v, w = 0.0, d2 / (d2 - d6)
    elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        w = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        v = 1.0 - w
    else:
        whole = va + vb + vc
        v, w = vb / whole, vc / whole
    q0 = ap0 - v * ab0 - w * ac0
    q1 = ap1 - v * ab1 - w * ac1
    q2 = ap2 - v * ab2 - w * ac2
    return q0 * q0 + q1 * q1 + q2 * q2


@njit(cache=True, error_model="numpy")
def splat_distances(
    vertices: Floats,
    faces: Faces,
    xs: Floats,
    ys: Floats,
    zs: Floats,
    distance: Field,
    band: float,
) -> None:
    """Lower ``distance`` (filled with ``band``) to the distance from the nearest triangle."""
    for f in range(faces.shape[0]):
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        i0 = _first_from(xs, min(a[0], b[0], c[0]) - band)
        i1 = _first_from(xs, max(a[0], b[0], c[0]) + band)
        j0 = _first_from(ys, min(a[1], b[1], c[1]) - band)
        j1 = _first_from(ys, max(a[1], b[1], c[1]) + band)
        k0 = _first_from(zs, min(a[2], b[2], c[2]) - band)
        k1 = _first_from(zs, max(a[2], b[2], c[2]) + band)
        n0 = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
        n1 = (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2])
        n2 = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        area = np.sqrt(n0 * n0 + n1 * n1 + n2 * n2)
        if area < _NEEDLE_MM2:  # has no plane; its neighbors cover it
            continue
        n0, n1, n2 = n0 / area, n1 / area, n2 / area
        for i in range(i0, i1):
            for j in range(j0, j1):
                part = n0 * (xs[i] - a[0]) + n1 * (ys[j] - a[1])
                for k in range(k0, k1):
                    now = distance[i, j, k]
                    if abs(part + n2 * (zs[k] - a[2])) >= now:
                        continue
                    square = _square_distance(xs[i], ys[j], zs[k], a, b, c)
                    if square < now * now:
                        distance[i, j, k] = np.sqrt(square)


@njit(cache=True, error_model="numpy")
def winding_numbers(
    vertices: Floats, faces: Faces, xs: Floats, ys: Floats, zs: Floats
) -> NDArray[np.int8]:
    """How often a closed surface winds around every grid point: 1 inside, 0 outside."""
    turns = np.zeros((len(xs), len(ys), len(zs)), dtype=np.int8)
    for f in range(faces.shape[0]):
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        double = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
        if double == 0.0:
            continue
        i0 = _first_from(xs, min(a[0], b[0], c[0]) - _OFF_GRID)
        i1 = _first_from(xs, max(a[0], b[0], c[0]) - _OFF_GRID)
        j0 = _first_from(ys, min(a[1], b[1], c[1]) - 1.7 * _OFF_GRID)
        j1 = _first_from(ys, max(a[1], b[1], c[1]) - 1.7 * _OFF_GRID)
        for i in range(i0, i1):
            x = xs[i] + _OFF_GRID
            for j in range(j0, j1):
                y = ys[j] + 1.7 * _OFF_GRID
                u = ((b[0] - x) * (c[1] - y) - (c[0] - x) * (b[1] - y)) / double
                v = ((c[0] - x) * (a[1] - y) - (a[0] - x) * (c[1] - y)) / double
                w = 1.0 - u - v
                if u < 0.0 or v < 0.0 or w < 0.0:
                    continue
                k = _first_from(zs, u * a[2] + v * b[2] + w * c[2])
                if k < len(zs):  # going up: in through a face that looks down
                    turns[i, j, k] += -1 if double > 0.0 else 1
    for i in range(len(xs)):
        for j in range(len(ys)):
            for k in range(1, len(zs)):
                turns[i, j, k] += turns[i, j, k - 1]
    return turns


@njit(cache=True, error_model="numpy")
def _crossing(here: float, before: float, after: float, back: float, ahead: float) -> float:
    """Distance along one axis to where the field turns positive; very large if it does not."""
    best = _NONE_MM
    if before >= 0.0:
        best = back * here / (here - before)
    if after >= 0.0:
        best = min(best, ahead * here / (here - after))
    return max(best, 1e-4)


@njit(cache=True, error_model="numpy")
def _beside_surface(field: Field, xs: Floats, ys: Floats, zs: Floats, out: Field) -> None:
    """Set the depth of inner points that have an outer neighbor, from the crossings."""
    nx, ny, nz = field.shape
    for i in range(1, nx - 1):
        back_x, ahead_x = xs[i] - xs[i - 1], xs[i + 1] - xs[i]
        for j in range(1, ny - 1):
            back_y, ahead_y = ys[j] - ys[j - 1], ys[j + 1] - ys[j]
            for k in range(1, nz - 1):
                here = field[i, j, k]
                if here >= 0.0:
                    continue
                back_z, ahead_z = zs[k] - zs[k - 1], zs[k + 1] - zs[k]
                a = _crossing(here, field[i - 1, j, k], field[i + 1, j, k], back_x, ahead_x)
                b = _crossing(here, field[i, j - 1, k], field[i, j + 1, k], back_y, ahead_y)
                c = _crossing(here, field[i, j, k - 1], field[i, j, k + 1], back_z, ahead_z)
                total = 1.0 / (a * a) + 1.0 / (b * b) + 1.0 / (c * c)
                if min(a, b, c) < _NONE_MM:
                    out[i, j, k] = -1.0 / np.sqrt(total)


@njit(cache=True, error_model="numpy")
def _eikonal(a: float, b: float, c: float, ha: float, hb: float, hc: float) -> float:
    """Arrival at a point from its nearer neighbors along three axes, at unit speed."""
    if a > b:
        a, b, ha, hb = b, a, hb, ha
    if b > c:
        b, c, hb, hc = c, b, hc, hb
    if a > b:
        a, b, ha, hb = b, a, hb, ha
    t = a + ha
    if t <= b:
        return t
    wa, wb = 1.0 / (ha * ha), 1.0 / (hb * hb)
    mean = (wa * a + wb * b) / (wa + wb)
    rest = mean * mean - (wa * a * a + wb * b * b - 1.0) / (wa + wb)
    t = mean + np.sqrt(max(rest, 0.0))
    if t <= c:
        return t
    wc = 1.0 / (hc * hc)
    whole = wa + wb + wc
    mean = (wa * a + wb * b + wc * c) / whole
    rest = mean * mean - (wa * a * a + wb * b * b + wc * c * c - 1.0) / whole
    return mean + np.sqrt(max(rest, 0.0))


@njit(cache=True, error_model="numpy")
def grow_distances(field: Field, xs: Floats, ys: Floats, zs: Floats, deepest: float) -> Field:
    """Distances to the zero surface for inner points (negative), by sweeping the grid."""
    nx, ny, nz = field.shape
    out = np.where(field < 0.0, np.float32(-deepest), field).astype(np.float32)
    _beside_surface(field, xs, ys, zs, out)
    fixed = (out > -deepest) | (field >= 0.0)
    for sweep in range(8):
        for ii in range(1, nx - 1):
            i = ii if sweep & 1 else nx - 1 - ii
            for jj in range(1, ny - 1):
                j = jj if sweep & 2 else ny - 1 - jj
                for kk in range(1, nz - 1):
                    k = kk if sweep & 4 else nz - 1 - kk
                    if fixed[i, j, k]:
                        continue
                    a, ha = -out[i - 1, j, k], xs[i] - xs[i - 1]
                    if -out[i + 1, j, k] < a:
                        a, ha = -out[i + 1, j, k], xs[i + 1] - xs[i]
                    b, hb = -out[i, j - 1, k], ys[j] - ys[j - 1]
                    if -out[i, j + 1, k] < b:
                        b, hb = -out[i, j + 1, k], ys[j + 1] - ys[j]
                    c, hc = -out[i, j, k - 1], zs[k] - zs[k - 1]
                    if -out[i, j, k + 1] < c:
                        c, hc = -out[i, j, k + 1], zs[k + 1] - zs[k]
                    t = _eikonal(a, b, c, ha, hb, hc)
                    if t < -out[i, j, k]:
                        out[i, j, k] = -t
    return out
