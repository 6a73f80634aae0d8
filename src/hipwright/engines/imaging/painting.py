"""Which voxels a reader means: a brush drawn over a path, an outline, a region, an edge.

All shapes are told in ``patient_lps``, mm, and answered as flat voxel indices (C order,
rising), so that they mean the same on every grid and in every view.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.errors import VolumeError
from hipwright.domain.volume import LabelEdits, LabelVolume, VolumeGrid
from hipwright.engines.imaging.slice_views import SliceView

Floats = NDArray[np.float64]
Voxels = NDArray[np.int64]

_HALF = 0.5 + 1e-6
_FEWEST_CORNERS = 3


def ball_voxels(grid: VolumeGrid, path_mm: Floats, radius_mm: float) -> Voxels:
    """Voxels whose center a ball meets on its way along a path, shape (n, 3)."""
    path = np.atleast_2d(np.asarray(path_mm, dtype=np.float64))
    candidates = _around(grid, path, radius_mm)
    centers = grid.to_mm(candidates.astype(np.float64))
    return _flat(grid, candidates[_near_path(centers, path, radius_mm**2)])


def disc_voxels(grid: VolumeGrid, path_mm: Floats, radius_mm: float, view: SliceView) -> Voxels:
    """Voxels of one picture that a disc meets on its way along a path in its plane."""
    path = np.atleast_2d(np.asarray(path_mm, dtype=np.float64))
    candidates = _around(grid, path, radius_mm)
    centers = grid.to_mm(candidates.astype(np.float64))
    normal, depth = _slab(view)
    off = (centers - path[0]) @ normal
    chosen = np.abs(off) <= depth
    flat = centers[chosen] - off[chosen, None] * normal
    level = path - ((path - path[0]) @ normal)[:, None] * normal
    return _flat(grid, candidates[chosen][_near_path(flat, level, radius_mm**2)])


def outline_voxels(grid: VolumeGrid, outline_mm: Floats, view: SliceView) -> Voxels:
    """Voxels of one picture inside a closed outline drawn in its plane, shape (n, 3).

    Raises
    ------
    VolumeError
        The outline has fewer than three corners.
    """
    outline = np.atleast_2d(np.asarray(outline_mm, dtype=np.float64))
    if len(outline) < _FEWEST_CORNERS:
        raise VolumeError(
            "cannot fill the outline",
            found=f"{len(outline)} points",
            needed="a line around a region",
            next_step="Draw around the region and let go where you began.",
        )
    normal, depth = _slab(view)
    middle = outline.mean(axis=0)
    reach = float(np.linalg.norm(outline - middle, axis=1).max())
    candidates = _around(grid, middle[None], reach)
    centers = grid.to_mm(candidates.astype(np.float64))
    chosen = np.abs((centers - outline[0]) @ normal) <= depth
    right = view.first.right_mm / np.linalg.norm(view.first.right_mm)
    down = np.cross(normal, right)
    frame = np.column_stack([right, down])
    inside = _in_polygon((centers[chosen] - middle) @ frame, (outline - middle) @ frame)
    return _flat(grid, candidates[chosen][inside])


def region_voxels(
    codes: NDArray[np.uint8], grid: VolumeGrid, view: SliceView, index: int, at_mm: Floats
) -> Voxels:
    """Voxels of the closed region of one label around a place, in one picture.

    Parameters
    ----------
    codes
        The picture's labels as shown, shape (rows, columns).
    grid
        Where the labels lie.
    view, index
        Which picture.
    at_mm
        A place in the region, ``patient_lps``.

    Raises
    ------
    VolumeError
        The place is off the picture, or the region runs to the picture's border.
    """
    plane = view.plane(index)
    frame = np.column_stack([plane.right_mm, plane.down_mm])
    found, *_ = np.linalg.lstsq(frame, np.asarray(at_mm) - plane.origin_mm, rcond=None)
    column, row = (int(np.rint(x)) for x in found)
    if not (0 <= row < plane.rows and 0 <= column < plane.columns):
        raise _not_closed("a place beside the picture")
    same, _ = ndimage.label(codes == codes[row, column])
    region = same == same[row, column]
    edge = region[[0, -1]].any() or region[:, [0, -1]].any()
    if edge:
        raise _not_closed("a region that runs to the border of the picture")
    rows, columns = np.nonzero(region)
    places = plane.to_mm(columns.astype(np.float64), rows.astype(np.float64))
    voxels = np.rint(grid.to_indices(places)).astype(np.int64)
    within = ((voxels >= 0) & (voxels < np.array(grid.shape))).all(axis=1)
    return np.unique(_flat(grid, voxels[within]))


def _not_closed(found: str) -> VolumeError:
    return VolumeError(
        "cannot fill here",
        found=found,
        needed="a region that one label surrounds",
        next_step="Close the gap with the brush, then fill again.",
    )


def painted(edits: LabelEdits, voxels: Voxels, code: int) -> LabelEdits:
    """Give the edits with further voxels painted over them."""
    every = np.concatenate([voxels, edits.voxels])
    codes = np.concatenate([np.full(len(voxels), code, np.uint8), edits.codes])
    kept, first = np.unique(every, return_index=True)  # the newest comes first
    return LabelEdits(
        voxels=kept, codes=codes[first], shape=edits.shape, cuts=edits.cuts, seeds=edits.seeds
    )


def joined(mine: LabelEdits, theirs: LabelEdits) -> LabelEdits:
    """Both edits together; where both painted a voxel, mine counts."""
    every = np.concatenate([mine.voxels, theirs.voxels])
    codes = np.concatenate([mine.codes, theirs.codes])
    kept, first = np.unique(every, return_index=True)
    return LabelEdits(
        voxels=kept,
        codes=codes[first],
        shape=mine.shape,
        cuts=tuple(dict.fromkeys((*theirs.cuts, *mine.cuts))),
        seeds=tuple(dict.fromkeys((*theirs.seeds, *mine.seeds))),
    )


def shown_codes(
    labels: LabelVolume, edits: LabelEdits, view: SliceView, index: int
) -> NDArray[np.uint8]:
    """One picture's labels with the edits painted over them, shape (rows, columns)."""
    codes = view.codes(labels, index)
    if not len(edits.voxels):
        return codes
    codes = codes.copy()  # a picture may be a part of the labels themselves
    if view.axes is None:
        return _slanted(codes, labels.grid, edits, view, index)
    down, right, through = view.axes
    places = np.unravel_index(edits.voxels, edits.shape)
    ahead = index if view.forward[2] else view.count - 1 - index
    here = places[through] == ahead
    rows, columns = places[down][here], places[right][here]
    rows = rows if view.forward[0] else codes.shape[0] - 1 - rows
    columns = columns if view.forward[1] else codes.shape[1] - 1 - columns
    codes[rows, columns] = edits.codes[here]
    return codes


def _slanted(
    codes: NDArray[np.uint8], grid: VolumeGrid, edits: LabelEdits, view: SliceView, index: int
) -> NDArray[np.uint8]:
    plane = view.plane(index)
    columns, rows = np.meshgrid(np.arange(plane.columns), np.arange(plane.rows))
    places = plane.to_mm(columns.astype(np.float64), rows.astype(np.float64))
    voxels = np.floor(grid.to_indices(places) + 0.5).astype(np.int64)
    within = ((voxels >= 0) & (voxels < np.array(grid.shape))).all(axis=-1)
    flat = _flat(grid, voxels[within])
    spot = np.minimum(np.searchsorted(edits.voxels, flat), len(edits.voxels) - 1)
    hit = edits.voxels[spot] == flat
    under = codes[within]
    under[hit] = edits.codes[spot[hit]]
    codes[within] = under
    return codes


def _slab(view: SliceView) -> tuple[Floats, float]:
    """Unit normal of a view's pictures, and how far from one its voxels' centers may lie."""
    normal = np.cross(view.first.right_mm, view.first.down_mm)
    normal = normal / np.linalg.norm(normal)
    return normal, float(abs(view.through_mm @ normal)) * _HALF


def _around(grid: VolumeGrid, path: Floats, radius_mm: float) -> Voxels:
    """Voxels of the box that surely holds everything within a radius of a path, (n, 3)."""
    reach = radius_mm * np.linalg.norm(np.linalg.inv(grid.steps_mm), axis=0) + 1
    indices = grid.to_indices(path)
    low = np.maximum(np.floor(indices.min(axis=0) - reach), 0).astype(np.int64)
    high = np.minimum(np.ceil(indices.max(axis=0) + reach), np.array(grid.shape) - 1)
    sizes = np.maximum(high.astype(np.int64) - low + 1, 0)
    return np.indices(tuple(int(n) for n in sizes)).reshape(3, -1).T + low


def _flat(grid: VolumeGrid, voxels: Voxels) -> Voxels:
    return np.asarray(voxels @ np.array([grid.shape[1] * grid.shape[2], grid.shape[2], 1]))


@njit(cache=True, nogil=True)
def _near_path(points: Floats, path: Floats, square_mm2: float) -> NDArray[np.bool_]:
    near = np.zeros(len(points), np.bool_)
    for p in range(len(points)):
        for s in range(max(len(path) - 1, 1)):
            a = path[s]
            b = path[min(s + 1, len(path) - 1)]
            length = 0.0
            along = 0.0
            for k in range(3):
                length += (b[k] - a[k]) ** 2
                along += (points[p, k] - a[k]) * (b[k] - a[k])
            t = min(max(along / length, 0.0), 1.0) if length > 0 else 0.0
            away = 0.0
            for k in range(3):
                away += (points[p, k] - a[k] - t * (b[k] - a[k])) ** 2
            if away <= square_mm2:
                near[p] = True
                break
    return near


@njit(cache=True, nogil=True)
def _in_polygon(points: Floats, polygon: Floats) -> NDArray[np.bool_]:
    inside = np.zeros(len(points), np.bool_)
    count = len(polygon)
    for p in range(len(points)):
        x, y = points[p, 0], points[p, 1]
        odd = False
        for i in range(count):
            j = i - 1 if i else count - 1
            xi, yi, xj, yj = polygon[i, 0], polygon[i, 1], polygon[j, 0], polygon[j, 1]
            if (yi > y) != (yj > y) and x < (xj - xi) * (y - yi) / (yj - yi) + xi:
                odd = not odd
        inside[p] = odd
    return inside
