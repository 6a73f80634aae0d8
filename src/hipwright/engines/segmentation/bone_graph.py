"""Bone as a coarse graph: blocks of bone voxels, joined where nothing dark lies between.

Every block that holds bone is a node. The link of two neighbors is strong in solid bone and
weak where fine voxels show a dark valley between two bright walls; a wall (a joint surface, a
reader's cut) takes the link away.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numba import njit
from numpy.typing import NDArray

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Links = NDArray[np.int32]
Strengths = NDArray[np.float32]
Voxels = NDArray[np.int16]

VALLEY_MM = 2.8
"""How far to either side the bright walls of a valley are looked for."""

VALLEY_SHARE = 0.45
"""Depth of a certain valley, as a share of the step from soft tissue to cortex."""

WEAK_AT = 0.15
"""Depth (of a certain valley) at which a link has half its strength."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneGraph:
    """Nodes and links.

    Attributes
    ----------
    at
        Coarse (z, y, x) of each node, shape (n, 3).
    node_of
        Node of each coarse voxel, −1 for none.
    links
        Shape (n, 3): the next node along z, y and x, −1 for none.
    strength
        Shape (n, 3), 0 to 1.
    """

    at: Links = field(repr=False)
    node_of: Links = field(repr=False)
    links: Links = field(repr=False)
    strength: Strengths = field(repr=False)


@njit(cache=True, nogil=True)
def valley_depth(
    values: Voxels, z: int, y: int, x: int, reach_y: int, reach_x: int, scale: float
) -> float:
    """Depth of the dark valley at a voxel, in the plane of the slice, as a share of ``scale``.

    Along four directions the lower of the brightest values on either side less the value.
    """
    ny, nx = values.shape[1], values.shape[2]
    value = values[z, y, x]
    deepest = 0.0
    reach = max(reach_y, reach_x)
    for way in range(4):
        ahead = value
        behind = value
        for k in range(1, reach + 1):
            dy = (k * reach_y) // reach
            dx = (k * reach_x) // reach
            if way == 0:
                dy = 0
            elif way == 1:
                dx = 0
            elif way == 2:  # noqa: PLR2004 (four ways)
                dy, dx = (dy * 3) // 4, (dx * 3) // 4
            else:
                dy, dx = (dy * 3) // 4, -((dx * 3) // 4)
            y1, x1, y0, x0 = y + dy, x + dx, y - dy, x - dx
            if 0 <= y1 < ny and 0 <= x1 < nx:
                ahead = max(ahead, values[z, y1, x1])
            if 0 <= y0 < ny and 0 <= x0 < nx:
                behind = max(behind, values[z, y0, x0])
        deepest = max(deepest, (min(ahead, behind) - value) / scale)
    return min(deepest, 1.0)


@njit(cache=True, nogil=True)
def block_valleys(
    values: Voxels,
    block: tuple[int, int, int],
    reach: tuple[int, int],
    scale: float,
    at: Links,
    out: Strengths,
) -> None:
    """Fill ``out`` with the mean valley depth of the deepest quarter of each node's voxels."""
    bz, by, bx = block
    counts = np.zeros(33, np.int64)
    for n in range(at.shape[0]):
        k, i, j = at[n, 0], at[n, 1], at[n, 2]
        counts[:] = 0
        count = 0
        for z in range(k * bz, min((k + 1) * bz, values.shape[0])):
            for y in range(i * by, min((i + 1) * by, values.shape[1])):
                for x in range(j * bx, min((j + 1) * bx, values.shape[2])):
                    depth = valley_depth(values, z, y, x, reach[0], reach[1], scale)
                    counts[int(depth * 32.0)] += 1
                    count += 1
        left = max(1, count // 4)
        wanted = left
        total = 0.0
        for level in range(32, -1, -1):
            taken = min(left, counts[level])
            total += taken * level
            left -= taken
            if left == 0:
                break
        out[n] = total / (32.0 * wanted)


@njit(cache=True, nogil=True)
def link_nodes(
    node_of: Links,
    at: Links,
    valley: Strengths,
    sides: Codes,
    weak_at: float,
    links: Links,
    strength: Strengths,
) -> None:
    """Fill links and strengths; nodes on two sides of a wall (1 and 2, 3 and 4, …) get none."""
    shape = node_of.shape
    for n in range(at.shape[0]):
        k, i, j = at[n, 0], at[n, 1], at[n, 2]
        for axis in range(3):
            a = k + (1 if axis == 0 else 0)
            b = i + (1 if axis == 1 else 0)
            c = j + (1 if axis == 2 else 0)  # noqa: PLR2004 (three axes)
            links[n, axis] = -1
            strength[n, axis] = 0.0
            if a >= shape[0] or b >= shape[1] or c >= shape[2]:
                continue
            m = node_of[a, b, c]
            if m < 0:
                continue
            one, two = sides[n], sides[m]
            if one > 0 and two > 0 and one != two and (one + 1) // 2 == (two + 1) // 2:
                continue
            depth = max(valley[n], valley[m]) / weak_at
            links[n, axis] = m
            strength[n, axis] = 1.0 / (1.0 + depth * depth)


@njit(cache=True, nogil=True)
def connected(  # noqa: C901 (one compiled loop)
    links: Links,
) -> Links:
    """Number of the connected part of each node, from 0."""
    count = links.shape[0]
    parent = np.arange(count, dtype=np.int32)
    for n in range(count):
        for axis in range(3):
            m = links[n, axis]
            if m < 0:
                continue
            a, b = n, m
            while parent[a] != a:
                parent[a] = parent[parent[a]]
                a = parent[a]
            while parent[b] != b:
                parent[b] = parent[parent[b]]
                b = parent[b]
            if a < b:
                parent[b] = a
            else:
                parent[a] = b
    names = np.full(count, -1, np.int32)
    named = 0
    for n in range(count):
        a = n
        while parent[a] != a:
            a = parent[a]
        if names[a] < 0:
            names[a] = named
            named += 1
        parent[n] = a
    for n in range(count):
        parent[n] = names[parent[n]]
    return parent


def nodes_of(bone: NDArray[np.bool_]) -> tuple[Links, Links]:
    """Coarse (z, y, x) of the nodes, and the node of each coarse voxel."""
    at = np.argwhere(bone).astype(np.int32)
    node_of = np.full(bone.shape, -1, np.int32)
    node_of[tuple(at.T)] = np.arange(len(at), dtype=np.int32)
    return at, node_of


def linked(at: Links, node_of: Links, valley: Strengths, sides: Codes) -> BoneGraph:
    """Give the graph of nodes; ``sides`` names the side of a wall a node lies on, 0 for none."""
    links = np.empty((len(at), 3), np.int32)
    strength = np.empty((len(at), 3), np.float32)
    link_nodes(node_of, at, valley, sides, WEAK_AT, links, strength)
    return BoneGraph(at=at, node_of=node_of, links=links, strength=strength)
