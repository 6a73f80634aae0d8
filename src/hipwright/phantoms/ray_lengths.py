"""Exact lengths of X-rays inside closed triangle surfaces.

Along a ray, the length inside a closed surface is the sum of the distances at
which the ray leaves it minus those at which it enters. Summed triangle by
triangle this needs no sorting: each triangle adds its signed distance to the
pixels it covers. Coverage is decided in whole numbers on a fixed sub-pixel
grid, with one rule for points on an edge, so that two triangles sharing an
edge cover every pixel center exactly once. Floating-point coverage would
leave streaks: a pixel missed by one triangle keeps a whole distance to the
source.

Lengths of an outer minus an inner surface are the length in the shell;
overlapping bodies add, so a material inside another is accounted by the
difference of their attenuation.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.phantoms.projection import Array, Beam

SUBPIXELS = 4096
"""Parts of a pixel on which projected corners are placed (1/4096 px)."""

_FARTHEST_PX = 100_000.0


def ray_lengths(vertices_mm: Array, faces: NDArray[np.integer], beam: Beam) -> Array:
    """Give the length of every pixel's ray inside a closed surface.

    Parameters
    ----------
    vertices_mm
        Corners, shape (n, 3), in the frame of the beam.
    faces
        Corner indices, shape (m, 3), counterclockwise seen from outside.
    beam
        Source and detector.

    Returns
    -------
    Array
        Lengths in mm, shape (rows, columns). Exact for the flat triangles but for
        the placing of corners on the sub-pixel grid: on a 0.14 mm detector
        0.00002 mm across the ray.

    Raises
    ------
    ValueError
        A corner lies behind the source or is not a number.
    """
    total = np.zeros((beam.rows, beam.columns), dtype=np.float64)
    add_ray_lengths(total, vertices_mm, faces, beam, weight=1.0)
    total *= beam.ray_norms()
    return total


def add_ray_lengths(
    total: Array, vertices_mm: Array, faces: NDArray[np.integer], beam: Beam, *, weight: float
) -> None:
    """Add weighted lengths to a running sum, in parts of the source-to-pixel distance.

    Multiply the finished sum by ``beam.ray_norms()`` to have millimeters. This
    lets many bodies share one picture.
    """
    camera = beam.camera(vertices_mm)
    if not np.isfinite(camera).all() or np.abs(camera[:, :2]).max(initial=0.0) > _FARTHEST_PX:
        message = (
            "cannot trace rays: a corner of the surface is not a number or lands more than "
            f"{_FARTHEST_PX:.0f} px from the detector. Check the surface and the beam."
        )
        raise ValueError(message)
    start = beam.first_pixel_mm - beam.source_mm
    offset = np.asarray(vertices_mm, dtype=np.float64) - beam.source_mm
    local = np.column_stack([offset @ beam.column_axis, offset @ beam.row_axis, camera[:, 2]])
    _accumulate(
        total,
        np.rint(camera[:, :2] * SUBPIXELS).astype(np.int64),
        local,
        np.ascontiguousarray(faces, dtype=np.int64),
        np.array(
            [
                start @ beam.column_axis,
                start @ beam.row_axis,
                beam.source_detector_mm,
                beam.pixel_mm,
                weight,
            ]
        ),
    )


@njit(cache=True, nogil=True)
def _accumulate(
    total: Array,
    grid: NDArray[np.int64],
    local: Array,
    faces: NDArray[np.int64],
    frame: Array,
) -> None:
    across0, down0, distance, pitch, weight = frame
    rows, columns = total.shape
    for face in range(faces.shape[0]):
        a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
        ax, ay = grid[a, 0], grid[a, 1]
        bx, by = grid[b, 0], grid[b, 1]
        cx, cy = grid[c, 0], grid[c, 1]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0:
            continue
        sign = weight
        if area < 0:  # the ray enters here: turn the triangle, count its distance down
            sign = -weight
            bx, by, cx, cy = cx, cy, bx, by
        low_column = max(0, -(-min(ax, bx, cx) // SUBPIXELS))
        high_column = min(columns - 1, max(ax, bx, cx) // SUBPIXELS)
        low_row = max(0, -(-min(ay, by, cy) // SUBPIXELS))
        high_row = min(rows - 1, max(ay, by, cy) // SUBPIXELS)
        if low_column > high_column or low_row > high_row:
            continue
        # plane n . X = k in source-centered coordinates; a ray meets it at s = k / (n . P)
        ux, uy, uz = (
            local[b, 0] - local[a, 0],
            local[b, 1] - local[a, 1],
            local[b, 2] - local[a, 2],
        )
        vx, vy, vz = (
            local[c, 0] - local[a, 0],
            local[c, 1] - local[a, 1],
            local[c, 2] - local[a, 2],
        )
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        k = nx * local[a, 0] + ny * local[a, 1] + nz * local[a, 2]
        near = min(local[a, 2], local[b, 2], local[c, 2]) / distance
        far = max(local[a, 2], local[b, 2], local[c, 2]) / distance
        # an edge keeps the points on it when it runs up, or level to the right
        keep_ab = 0 if (by < ay or (by == ay and bx > ax)) else 1
        keep_bc = 0 if (cy < by or (cy == by and cx > bx)) else 1
        keep_ca = 0 if (ay < cy or (ay == cy and ax > cx)) else 1
        for row in range(low_row, high_row + 1):
            py = row * SUBPIXELS
            px = low_column * SUBPIXELS
            e_ab = (bx - ax) * (py - ay) - (by - ay) * (px - ax) - keep_ab
            e_bc = (cx - bx) * (py - by) - (cy - by) * (px - bx) - keep_bc
            e_ca = (ax - cx) * (py - cy) - (ay - cy) * (px - cx) - keep_ca
            base = ny * (down0 + row * pitch) + nz * distance
            for column in range(low_column, high_column + 1):
                if e_ab >= 0 and e_bc >= 0 and e_ca >= 0:
                    across = nx * (across0 + column * pitch) + base
                    s = near if across == 0.0 else k / across
                    # seen edge-on, the plane is ill-defined: stay within the triangle's depth
                    total[row, column] += sign * min(max(s, near), far)
                e_ab -= (by - ay) * SUBPIXELS
                e_bc -= (cy - by) * SUBPIXELS
                e_ca -= (ay - cy) * SUBPIXELS
