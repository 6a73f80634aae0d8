"""A tree of boxes over the triangles of a mesh: what rays and distances search in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.geometry.meshes import Ints

Floats = NDArray[np.float64]

_AT_A_LEAF = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeshTree:
    """Triangles in the order of the leaves, under a full binary tree of boxes.

    Attributes
    ----------
    triangles
        Corners, shape (m, 3, 3), mm.
    order
        Number in the mesh of each triangle, (m,).
    starts
        First triangle of every leaf, and one past the last, (leaves + 1,).
    boxes
        Lowest and highest corner of every node, (2 leaves - 1, 6): the children of node k
        are 2k + 1 and 2k + 2, the last ``leaves`` nodes are the leaves in their order.
    """

    triangles: Floats
    order: NDArray[np.int64]
    starts: NDArray[np.int64]
    boxes: Floats


def mesh_tree(vertices: Floats, faces: Ints) -> MeshTree:
    """Sort a mesh into a tree.

    Parameters
    ----------
    vertices, faces
        (n, 3) mm and (m, 3) with m > 0.
    """
    triangles = np.ascontiguousarray(vertices, dtype=np.float64)[faces]
    levels = 0
    while (len(triangles) >> levels) > _AT_A_LEAF:
        levels += 1
    one, two, three = (triangles[:, k] for k in range(3))
    order, starts = sort_into_leaves((one + two + three) / 3.0, levels)
    triangles = triangles[order]
    one, two, three = (triangles[:, k] for k in range(3))
    return MeshTree(
        triangles=triangles,
        order=order,
        starts=starts,
        boxes=boxes_of(
            np.minimum(np.minimum(one, two), three),
            np.maximum(np.maximum(one, two), three),
            starts,
        ),
    )


@njit(cache=True, nogil=True)
def sort_into_leaves(middles: Floats, levels: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Halve the triangles again and again across their longest extent.

    Returns their order and the starts of the 2**levels leaves.
    """
    count = len(middles)
    order: NDArray[np.int64] = np.arange(count, dtype=np.int64)
    starts: NDArray[np.int64] = np.array([0, count], dtype=np.int64)
    for _ in range(levels):
        parts = starts.shape[0] - 1
        finer = np.empty(2 * parts + 1, np.int64)
        for part in range(parts):
            low, high = starts[part], starts[part + 1]
            axis, widest = 0, -1.0
            for k in range(3):
                least, most = np.inf, -np.inf
                for i in range(low, high):
                    value = middles[order[i], k]
                    least = min(least, value)
                    most = max(most, value)
                if most - least > widest:
                    axis, widest = k, most - least
            values = np.empty(high - low)
            for i in range(low, high):
                values[i - low] = middles[order[i], axis]
            ranks = np.argsort(values)
            piece = order[low:high].copy()
            for i in range(high - low):
                order[low + i] = piece[ranks[i]]
            finer[2 * part] = low
            finer[2 * part + 1] = (low + high) // 2
        finer[2 * parts] = count
        starts = finer
    return order, starts


@njit(cache=True, nogil=True)
def boxes_of(lows: Floats, highs: Floats, starts: NDArray[np.int64]) -> Floats:
    """Boxes of all nodes from those of the triangles in leaf order."""
    leaves = starts.shape[0] - 1
    boxes = np.empty((2 * leaves - 1, 6))
    for leaf in range(leaves):
        node = leaves - 1 + leaf
        boxes[node, :3] = np.inf
        boxes[node, 3:] = -np.inf
        for i in range(starts[leaf], starts[leaf + 1]):
            for k in range(3):
                boxes[node, k] = min(boxes[node, k], lows[i, k])
                boxes[node, 3 + k] = max(boxes[node, 3 + k], highs[i, k])
    for node in range(leaves - 2, -1, -1):
        for k in range(3):
            boxes[node, k] = min(boxes[2 * node + 1, k], boxes[2 * node + 2, k])
            boxes[node, 3 + k] = max(boxes[2 * node + 1, 3 + k], boxes[2 * node + 2, 3 + k])
    return boxes
