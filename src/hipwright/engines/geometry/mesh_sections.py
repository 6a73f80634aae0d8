"""Where a plane cuts a mesh."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.geometry.meshes import Floats, Ints


def plane_section_mm(
    vertices: Floats, faces: Ints, point: Floats, normal: Floats
) -> tuple[Floats, ...]:
    """Cut a mesh with a plane.

    Parameters
    ----------
    vertices, faces
        The mesh, (n, 3) mm and (m, 3), outward faces counterclockwise.
    point, normal
        A point of the plane, and its direction, of any length.

    Returns
    -------
    tuple of Floats
        One polyline for each outline, (k, 3) mm, the longest first. Looked at against
        the normal, the inside lies to the left. The last point is followed by the first
        again where the mesh is closed; it is not repeated.
    """
    height = (vertices - point) @ (normal / np.linalg.norm(normal))
    above = height >= 0
    sides = above[faces]
    cut = sides.any(axis=1) & ~sides.all(axis=1)
    if not cut.any():
        return ()
    starts, ends = _crossed_edges(faces[cut].astype(np.int64), sides[cut], len(vertices))
    keys, index = np.unique(np.concatenate([starts, ends]), return_inverse=True)
    low, high = keys // len(vertices), keys % len(vertices)
    share = height[low] / (height[low] - height[high])
    places = vertices[low] + share[:, None] * (vertices[high] - vertices[low])
    outlines = [places[chain] for chain in _chains(index[: len(starts)], index[len(starts) :])]
    return tuple(sorted(outlines, key=_length, reverse=True))


def section_area_mm2(outline: Floats, normal: Floats) -> float:
    """Area inside a closed outline in the plane of a normal, negative for that of a hole."""
    to_next = np.roll(outline, -1, axis=0)
    vector = np.cross(outline - outline[0], to_next - outline[0]).sum(axis=0) / 2
    return float(vector @ normal / np.linalg.norm(normal))


def _crossed_edges(
    faces: NDArray[np.int64], sides: NDArray[np.bool_], count: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Keys of the edge where the outline enters each cut face, and of that where it leaves."""
    keys = np.empty((2, len(faces)), np.int64)
    for k in range(3):
        a, b = faces[:, k], faces[:, (k + 1) % 3]
        key = np.minimum(a, b) * count + np.maximum(a, b)
        up = ~sides[:, k] & sides[:, (k + 1) % 3]
        down = sides[:, k] & ~sides[:, (k + 1) % 3]
        keys[1, up] = key[up]
        keys[0, down] = key[down]
    return keys[0], keys[1]


def _chains(starts: NDArray[np.int64], ends: NDArray[np.int64]) -> list[list[int]]:
    following = dict(zip(starts.tolist(), ends.tolist(), strict=True))
    heads = sorted(set(following) - set(following.values()))
    chains: list[list[int]] = []
    while following:
        at = heads.pop(0) if heads else next(iter(following))
        chain = [at]
        while at in following:
            at = following.pop(at)
            if at == chain[0]:
                break
            chain.append(at)
        chains.append(chain)
    return chains


def _length(outline: Floats) -> float:
    return float(np.linalg.norm(np.diff(outline, axis=0), axis=1).sum())
