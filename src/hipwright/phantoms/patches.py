"""Curved patches (Lagrange triangles and quadrilaterals) cut into triangles.

A point on a patch is a weighted sum of the patch's nodes, and the weights do not
depend on where the nodes lie. So a whole bone is one sparse matrix: ``vertices =
weights @ nodes``, for the mean shape and for every mode of a shape model alike.
"""

from collections import defaultdict, deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from hipwright.phantoms.surfaces import Faces, TriangleSurface, directed_edges

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

_WELD_MM = 1e-6  # one point of two neighboring patches, up to rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """One patch: its polynomial orders and its nodes, first direction fastest.

    Attributes
    ----------
    orders
        One order for a triangle, two (first and second direction) for a quadrilateral.
    nodes
        Indices of its nodes in the node array of the bone.
    """

    orders: tuple[int, ...]
    nodes: tuple[int, ...]

    def __post_init__(self) -> None:
        if len(self.orders) == 1:
            needed = (self.orders[0] + 1) * (self.orders[0] + 2) // 2
        else:
            needed = (self.orders[0] + 1) * (self.orders[1] + 1)
        if len(self.nodes) != needed:
            raise ValueError(
                f"a patch of orders {self.orders} has {needed} nodes, not {len(self.nodes)}"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatchTriangulation:
    """How the nodes of a bone become the vertices of its triangles."""

    weights: csr_array  # (n vertices, n nodes)
    faces: Faces

    def surface(self, nodes: Floats) -> TriangleSurface:
        """Return the triangles for nodes of shape ``(n nodes, 3)`` in mm."""
        return TriangleSurface(vertices=self.weights @ nodes, faces=self.faces)


def triangulate(patches: Sequence[Patch], nodes: Floats, *, steps: int) -> PatchTriangulation:
    """Cut every patch into ``steps`` per edge and weld neighbors into one surface.

    Parameters
    ----------
    patches
        The patches of one connected, closed bone.
    nodes
        Shape ``(n nodes, 3)``, mm: a shape on which neighbors are recognized, for
        example the mean.
    steps
        Subdivisions along each patch edge.

    Returns
    -------
    PatchTriangulation
        Faces agree with each other and look outward on ``nodes``.
    """
    blocks: list[tuple[Indices, Indices, Floats]] = []
    faces: list[Indices] = []
    offset = 0
    for patch in patches:
        grid, local_faces = _parameters(patch, steps)
        rows, columns = np.indices((len(grid), len(patch.nodes)))
        values = _basis(patch, grid)
        blocks.append(
            (rows.ravel() + offset, np.asarray(patch.nodes)[columns].ravel(), values.ravel())
        )
        faces.append(local_faces + offset)
        offset += len(grid)
    rows, columns = (np.concatenate([block[k] for block in blocks]) for k in (0, 1))
    values = np.concatenate([block[2] for block in blocks])
    loose = coo_array((values, (rows, columns)), shape=(offset, len(nodes))).tocsr()
    representative, label = _weld(loose @ nodes)
    weights = csr_array(loose[representative])
    oriented = _oriented([label[part] for part in faces])
    solid = oriented[
        (oriented != np.roll(oriented, 1, axis=1)).all(axis=1)
    ]  # drop collapsed corners
    cut = PatchTriangulation(weights=weights, faces=np.ascontiguousarray(solid, dtype=np.int32))
    if cut.surface(nodes).volume_mm3 > 0:
        return cut
    return PatchTriangulation(weights=weights, faces=np.ascontiguousarray(cut.faces[:, ::-1]))


def connected_parts(patches: Sequence[Patch]) -> tuple[tuple[Patch, ...], ...]:
    """Part the patches into connected bones, in order of their first patch."""
    owner: dict[int, int] = {}
    links: list[tuple[int, int]] = []
    for index, patch in enumerate(patches):
        links.extend((index, owner.setdefault(node, index)) for node in patch.nodes)
    pairs = np.asarray(links)
    graph = coo_array(
        (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(patches), len(patches))
    )
    count, label = connected_components(graph.tocsr(), directed=False)
    parts = [
        tuple(p for p, k in zip(patches, label, strict=True) if k == part) for part in range(count)
    ]
    return tuple(sorted(parts, key=lambda part: patches.index(part[0])))


def _lagrange_line(order: int, at: Floats) -> Floats:
    """Lagrange basis of equally spaced nodes on [0, 1]; shape ``(n, order + 1)``."""
    knots = np.arange(order + 1) / order
    others = [np.delete(knots, k) for k in range(order + 1)]
    return np.stack(
        [np.prod((at[:, None] - o) / (knots[k] - o), axis=1) for k, o in enumerate(others)], axis=1
    )


def _ladder(order: int, at: Floats) -> list[Floats]:
    """Products that build the triangle basis: 1, nL, nL(nL - 1)/2, and so on."""
    steps = [np.ones_like(at)]
    for k in range(order):
        steps.append(steps[-1] * (order * at - k) / (k + 1))
    return steps


def _basis(patch: Patch, grid: Floats) -> Floats:
    if len(patch.orders) == 2:  # noqa: PLR2004 - two directions
        first = _lagrange_line(patch.orders[0], grid[:, 0])
        second = _lagrange_line(patch.orders[1], grid[:, 1])
        return (second[:, :, None] * first[:, None, :]).reshape(len(grid), -1)
    order = patch.orders[0]
    corner = _ladder(order, 1.0 - grid[:, 0] - grid[:, 1])
    first = _ladder(order, grid[:, 0])
    second = _ladder(order, grid[:, 1])
    return np.stack(
        [
            corner[order - i - j] * first[i] * second[j]
            for j in range(order + 1)
            for i in range(order + 1 - j)
        ],
        axis=1,
    )


def _parameters(patch: Patch, steps: int) -> tuple[Floats, Indices]:
    """Return a regular grid of patch parameters and the triangles between them."""
    square = len(patch.orders) == 2  # noqa: PLR2004 - two directions
    index: dict[tuple[int, int], int] = {}
    for j in range(steps + 1):
        for i in range(steps + 1 if square else steps + 1 - j):
            index[i, j] = len(index)
    faces: list[tuple[int, int, int]] = []
    for i, j in tuple(index):
        if (i + 1, j) in index and (i, j + 1) in index:
            faces.append((index[i, j], index[i + 1, j], index[i, j + 1]))
        if (i + 1, j + 1) in index:
            faces.append((index[i + 1, j], index[i + 1, j + 1], index[i, j + 1]))
    return np.asarray(list(index), dtype=np.float64) / steps, np.asarray(faces, dtype=np.int64)


def _weld(points: Floats) -> tuple[Indices, Indices]:
    """Return one representative per welded point, and each point's welded index."""
    pairs = cKDTree(points).query_pairs(_WELD_MM, output_type="ndarray")
    graph = coo_array(
        (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points))
    )
    _, label = connected_components(graph.tocsr(), directed=False)
    _, representative = np.unique(label, return_index=True)
    return representative, label.astype(np.int64)


def _oriented(parts: Sequence[Indices]) -> Indices:
    """Turn whole patches over until neighbors run their shared edge in opposite directions."""
    uses: dict[tuple[int, int], list[tuple[int, bool]]] = defaultdict(list)
    for number, faces in enumerate(parts):
        for a, b in directed_edges(faces.astype(np.int32)).tolist():
            if a != b:
                uses[min(a, b), max(a, b)].append((number, a < b))
    neighbors: dict[int, set[tuple[int, bool]]] = defaultdict(set)
    for shared in uses.values():
        for (one, up), (two, up_too) in pairwise(shared):
            if one != two:
                neighbors[one].add((two, up == up_too))
                neighbors[two].add((one, up == up_too))
    turned = {0: False}
    queue = deque([0])
    while queue:
        here = queue.popleft()
        for there, disagree in sorted(neighbors[here]):
            if there not in turned:
                turned[there] = turned[here] != disagree
                queue.append(there)
    return np.concatenate([p[:, ::-1] if turned.get(k, False) else p for k, p in enumerate(parts)])
