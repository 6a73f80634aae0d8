"""Which marker a walk through the bone is most likely to reach first.

The chances solve a Laplace equation on the graph: like voltages between electrodes they fall
where the graph is narrow or its links weak. A thread of bone voxels across a joint hardly
carries anything, where flooding would run through it.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hipwright.engines.segmentation.bone_graph import BoneGraph, Links, Strengths, connected

Codes = NDArray[np.uint8]
Chances = NDArray[np.float64]

TOLERANCE = 1e-3
MOST_ROUNDS = 600


@njit(cache=True, nogil=True)
def applied(links: Links, strength: Strengths, free: Codes, x: Chances, out: Chances) -> None:
    """Apply the Laplacian to ``x``; fixed nodes (``free`` 0) count as zero in both."""
    for n in range(out.shape[0]):
        out[n] = 0.0
    for n in range(links.shape[0]):
        for axis in range(3):
            m = links[n, axis]
            if m < 0:
                continue
            w = strength[n, axis]
            if free[n]:
                out[n] += w * (x[n] - (x[m] if free[m] else 0.0))
            if free[m]:
                out[m] += w * (x[m] - (x[n] if free[n] else 0.0))


@njit(cache=True, nogil=True)
def solve(  # noqa: C901, PLR0912 (one compiled loop)
    links: Links,
    strength: Strengths,
    free: Codes,
    fixed: Chances,
    x: Chances,
    tolerance: float,
    most_rounds: int,
) -> int:
    """Solve for the free nodes by conjugate gradients, in place; returns the rounds it took."""
    count = links.shape[0]
    diagonal = np.zeros(count)
    right = np.zeros(count)
    for n in range(count):
        for axis in range(3):
            m = links[n, axis]
            if m < 0:
                continue
            w = strength[n, axis]
            diagonal[n] += w
            diagonal[m] += w
            if not free[m]:
                right[n] += w * fixed[m]
            if not free[n]:
                right[m] += w * fixed[n]
    product = np.zeros(count)
    applied(links, strength, free, x, product)
    residual = np.zeros(count)
    way = np.zeros(count)
    rho = 0.0
    scale = 1e-30
    for n in range(count):
        if free[n] and diagonal[n] > 0:
            residual[n] = right[n] - product[n]
            way[n] = residual[n] / diagonal[n]
            rho += residual[n] * way[n]
            scale += right[n] * right[n] / diagonal[n]
    for turn in range(most_rounds):
        if rho <= tolerance * tolerance * scale:
            return turn
        applied(links, strength, free, way, product)
        along = 0.0
        for n in range(count):
            along += way[n] * product[n]
        if along <= 0:
            return turn
        alpha = rho / along
        fresh = 0.0
        for n in range(count):
            if free[n] and diagonal[n] > 0:
                x[n] += alpha * way[n]
                residual[n] -= alpha * product[n]
                fresh += residual[n] * residual[n] / diagonal[n]
        beta = fresh / rho
        rho = fresh
        for n in range(count):
            if free[n] and diagonal[n] > 0:
                way[n] = residual[n] / diagonal[n] + beta * way[n]
    return most_rounds


def walked(graph: BoneGraph, markers: Codes) -> tuple[Codes, Chances]:
    """Give each node the marker it reaches most likely, and by how much more likely.

    Parameters
    ----------
    graph
        Nodes and links.
    markers
        Code at each node, 0 where it is to be found.

    Returns
    -------
    codes, lead
        Code of each node, 0 in parts without any marker; chance of the best code less that of
        the second, 1 in parts with markers of one code.
    """
    part = connected(graph.links)
    parts = int(part.max()) + 1 if len(part) else 0
    seen = [int(c) for c in np.unique(markers) if c]
    present = np.zeros((parts, 256), bool)
    present[part, markers] = True
    present[:, 0] = False
    kinds = present.sum(axis=1)
    codes = np.where(kinds[part] == 1, present.argmax(axis=1)[part], 0).astype(np.uint8)
    lead = np.where(kinds[part] == 1, 1.0, 0.0)
    contested = kinds[part] > 1
    if not contested.any():
        return codes, lead
    free = (contested & (markers == 0)).astype(np.uint8)
    best: Chances = np.full(len(part), -1.0)
    second: Chances = np.full(len(part), -1.0)
    for code in seen:
        here = present[:, code][part] & contested
        if not (here & (markers == code)).any():
            continue
        fixed = (contested & (markers == code)).astype(np.float64)
        chance = np.asarray(np.where(free > 0, 0.5 * here, fixed), dtype=np.float64)
        solve(graph.links, graph.strength, free, fixed, chance, TOLERANCE, MOST_ROUNDS)
        better = np.asarray(contested & (chance > best), dtype=np.bool_)
        second = np.where(better, best, np.maximum(second, chance))
        codes[better] = code
        best = np.where(better, chance, best)
    lead[contested] = (best - np.maximum(second, 0.0))[contested]
    return codes, lead
