"""Which bone each coarse block belongs to: markers, and a random walk between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.anatomy import Bone
from hipwright.engines.imaging.block_means import (
    block_shape,
    block_shares,
    coarse_shape,
    coarsened,
)
from hipwright.engines.imaging.tissue_levels import GrayLevels
from hipwright.engines.segmentation.bone_graph import (
    VALLEY_MM,
    VALLEY_SHARE,
    BoneGraph,
    block_valleys,
    connected,
    linked,
    nodes_of,
)
from hipwright.engines.segmentation.find_hips import FoundHip
from hipwright.engines.segmentation.flooding import UNSURE
from hipwright.engines.segmentation.random_walk import walked
from hipwright.engines.segmentation.reader_edits import UprightCut
from hipwright.engines.segmentation.segmentation import gap_radius_toward

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

NODE_MM = 2.9
LEAST_SHARE = 26
"""Share of bone (of 255) from which a block is a node."""

MARROW_SHARE = 0.09
"""How far the mean of a block lies above soft tissue, of the step to cortex, to be marrow."""

NOISE_DEPTHS = 2.5
"""Depth of valleys that noise alone makes, in standard deviations (computed)."""

RADII_APART = 7.8
"""Distance of the two heads in head radii, where only one is seen (common practice: 180/23)."""

SURE_LEAD = 0.15
LEAST_NODES = 8
"""Smallest loose part that counts as another bone, in blocks."""

KNEE_RADII = 21.5
"""So many head radii below the heads the field has left the femora (common practice)."""

MIDLINE_OFF = 0.12
"""How far from the supposed midline the symphysis may lie, in distances of the heads."""

SYMPHYSIS_VALLEY = 0.5
SYMPHYSIS_NODES = 12
"""Least depth of its valleys, and least number of blocks of them (judgment)."""

_OTHER_HIP_BONE = {
    Bone.HIP_BONE_RIGHT: Bone.HIP_BONE_LEFT,
    Bone.HIP_BONE_LEFT: Bone.HIP_BONE_RIGHT,
}

SHELL_MM = (2.0, 9.0)
HEAD_MM = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoughLabels:
    """Codes of blocks.

    Attributes
    ----------
    block, step_mm
        Voxels of a block along z, y, x; spacing of blocks along x, y, z.
    codes
        Code of each block that holds bone, 0 where none is known.
    sure
        The same with ``UNSURE`` where the fine voxels have to decide.
    """

    block: tuple[int, int, int]
    step_mm: Floats
    codes: Codes = field(repr=False)
    sure: Codes = field(repr=False)

    def meeting_places(self, one: int, two: int) -> Floats:
        """Upright mm of the faces where two codes meet, shape (n, 3)."""
        found: list[Floats] = []
        for axis in range(3):
            low = [slice(None)] * 3
            high = [slice(None)] * 3
            low[axis], high[axis] = slice(None, -1), slice(1, None)
            a, b = self.codes[tuple(low)], self.codes[tuple(high)]
            at = np.argwhere(((a == one) & (b == two)) | ((a == two) & (b == one))).astype(float)
            at[:, axis] += 0.5
            found.append(block_centers(at, self.block, self.step_mm))
        return np.concatenate(found)


def block_centers(at: NDArray[np.generic], block: tuple[int, int, int], step_mm: Floats) -> Floats:
    """Upright (x, y, z) mm of the centers of blocks given as (z, y, x); step of the blocks."""
    size = np.asarray(block, dtype=np.float64)
    fine = step_mm[::-1] / size
    return np.ascontiguousarray(((np.asarray(at, float) * size + (size - 1) / 2) * fine)[:, ::-1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pelvis:
    """Where markers are told from: the middle of the heads, and the way from right to left.

    Attributes
    ----------
    middle, axes
        Upright mm; rows toward the left head, backward and upward. With one head only, x
        stands for the way across.
    apart_mm
        Distance of the heads, measured or supposed.
    """

    middle: Floats
    axes: Floats
    apart_mm: float

    @classmethod
    def of(cls, hips: Sequence[FoundHip]) -> _Pelvis:
        """From the hips that were found."""
        if len(hips) == 1:
            hip = hips[0]
            apart = RADII_APART * hip.sphere.radius_mm
            aside = np.array([hip.lateral * apart / 2, 0.0, 0.0])
            return cls(middle=hip.sphere.center - aside, axes=np.eye(3), apart_mm=apart)
        right, left = (h.sphere.center for h in hips)
        apart = float(np.linalg.norm(left - right))
        across = (left - right) / apart
        back = np.cross(np.array([0.0, 0.0, 1.0]), across)
        back /= np.linalg.norm(back)
        axes = np.stack([across, back, np.cross(across, back)])
        return cls(middle=(right + left) / 2, axes=axes, apart_mm=apart)

    def local(self, places: Floats) -> Floats:
        """Across, back and up from the middle, mm, shape (n, 3)."""
        return np.asarray((places - self.middle) @ self.axes.T)


def markers_of(places: Floats, hips: Sequence[FoundHip]) -> tuple[Codes, Codes]:
    """Codes of the nodes that are certain, and on which side of a joint surface each lies.

    Parameters
    ----------
    places
        Upright mm of the nodes, shape (n, 3).
    hips
        Found hips.
    """
    codes = np.zeros(len(places), np.uint8)
    sides = np.zeros(len(places), np.uint8)
    pelvis = _Pelvis.of(hips)
    apart = pelvis.apart_mm
    radius = float(np.mean([h.sphere.radius_mm for h in hips]))
    across, back, up = pelvis.local(places).T
    codes[(np.abs(across) < 0.06 * apart) & (back > 0.12 * apart) & (up > -0.1 * apart)] = (
        Bone.SACRUM.code
    )
    wing = (up > radius + 8.0) & (np.abs(across) > 0.37 * apart) & (np.abs(across) < 0.95 * apart)
    ramus = (np.abs(back) < 0.45 * apart) & (back < 0.05 * apart) & (up < 0)
    for hip in hips:
        lateral = across * hip.lateral
        codes[wing & (lateral > 0)] = hip.hip_bone.code
        if len(hips) == 1:
            beyond = (lateral < -0.14 * apart) & ((wing & (lateral < 0)) | ramus)
            codes[beyond] = _OTHER_HIP_BONE[hip.hip_bone].code
    for number, hip in enumerate(hips):
        off = places - hip.sphere.center
        away = np.linalg.norm(off, axis=1)
        close = away < hip.sphere.radius_mm + 14.0
        gap = np.full(len(places), np.inf)
        gap[close] = gap_radius_toward(off[close], hip.gap.axes, hip.gap.radius_mm, hip.gap.acts)
        acts = np.isfinite(gap) & close
        sides[acts & (away <= gap)] = 2 * number + 1
        sides[acts & (away > gap) & (away < gap + SHELL_MM[1])] = 2 * number + 2
        codes[acts & (away > gap + SHELL_MM[0]) & (away < gap + SHELL_MM[1])] = hip.hip_bone.code
        codes[away < hip.sphere.radius_mm - HEAD_MM] = hip.femur.code
    return codes, sides


def rough_labels(
    values: Voxels,
    mask: Codes,
    spacing_mm: Floats,
    hips: Sequence[FoundHip],
    levels: GrayLevels,
    *,
    certain: Codes | None = None,
    cuts: Sequence[UprightCut] = (),
) -> RoughLabels:
    """Label the blocks of a bone mask.

    Parameters
    ----------
    values, mask
        Upright voxels, and 1 where they are dense enough for bone.
    spacing_mm
        Along z, y, x.
    hips
        Found hips, whose joint surfaces are walls.
    levels
        Gray levels of the scan.
    certain
        What a reader knows of fine voxels: their codes, 0 for none.
    cuts
        Discs across which nothing is linked.
    """
    step_hu = levels.cortex_hu - levels.soft_hu
    block = block_shape(spacing_mm, NODE_MM)
    step_mm = (spacing_mm * block)[::-1].copy()
    shares = np.empty(coarse_shape(mask.shape, block), np.uint8)
    block_shares(mask, block, shares)
    means = coarsened(values, block)
    marrow_hu = levels.soft_hu + MARROW_SHARE * step_hu
    at, node_of = nodes_of((shares >= LEAST_SHARE) | (means > marrow_hu))
    valley = np.empty(len(at), np.float32)
    block_valleys(values, block, valley_reach(spacing_mm), VALLEY_SHARE * step_hu, at, valley)
    noise = NOISE_DEPTHS * levels.noise_hu / (VALLEY_SHARE * step_hu)
    valley = np.maximum(valley - np.float32(noise), 0)
    places = block_centers(at, block, step_mm)
    markers, sides = markers_of(places, hips)
    _mark_shins(markers, places, hips)
    mark_other_pubis(markers, places, valley, hips)
    if certain is not None:
        seeded = np.argwhere(certain > 0)
        cells = seeded // np.array(block)
        nodes = node_of[tuple(cells.T)]
        known = nodes >= 0
        markers[nodes[known]] = certain[tuple(seeded[known].T)]
    graph = linked(at, node_of, valley, sides)
    for cut in cuts:
        _part(graph, places, cut)
    found, lead = walked(graph, markers)
    found = others_named(found, graph)
    codes = np.zeros(node_of.shape, np.uint8)
    codes[tuple(at.T)] = found
    firm = np.zeros(node_of.shape, np.uint8)
    firm[tuple(at.T)] = np.where((lead >= SURE_LEAD) | (found == Bone.OTHER.code), found, UNSURE)
    firm[tuple(at.T)] = np.where(found == 0, 0, firm[tuple(at.T)])
    return RoughLabels(block=block, step_mm=step_mm, codes=codes, sure=unsure_at_borders(firm))


def _mark_shins(markers: Codes, places: Floats, hips: Sequence[FoundHip]) -> None:
    """Mark the lowest bone of a field that reaches well below the knees as tibia, in place."""
    across = _Pelvis.of(hips).local(places)[:, 0]
    for hip in hips:
        below = hip.sphere.center[2] - places[:, 2]
        if below.max() < KNEE_RADII * hip.sphere.radius_mm:
            continue
        shin = (below > below.max() - 15.0) & (across * hip.lateral > 0)
        markers[shin] = Bone(hip.femur.value.replace("femur", "tibia")).code


def mark_other_pubis(
    markers: Codes, places: Floats, valley: Floats, hips: Sequence[FoundHip]
) -> None:
    """With one hip in the field, mark what lies beyond the symphysis as the other one, in place.

    The symphysis is a sheet of deep valleys across, near where the midline is supposed.
    """
    if len(hips) != 1:
        return
    hip = hips[0]
    pelvis = _Pelvis.of(hips)
    across, back, up = pelvis.local(places).T
    lateral = across * hip.lateral
    zone = (np.abs(back) < 0.45 * pelvis.apart_mm) & (back < 0) & (up < 0)
    zone &= np.abs(lateral) < MIDLINE_OFF * pelvis.apart_mm
    sheet = lateral[zone & (valley > SYMPHYSIS_VALLEY)]
    if len(sheet) < SYMPHYSIS_NODES:
        return
    near = np.abs(sheet[:, None] - sheet[None]) < NODE_MM
    at = sheet[near.sum(axis=1).argmax()]
    if near.sum(axis=1).max() < SYMPHYSIS_NODES:
        return
    beyond = (np.abs(back) < 0.45 * pelvis.apart_mm) & (back < 0) & (up < 0)
    beyond &= lateral < at - 1.5 * NODE_MM
    markers[beyond] = _OTHER_HIP_BONE[hip.hip_bone].code


def others_named(found: Codes, graph: BoneGraph) -> Codes:
    """Codes of the nodes, those of larger parts without a marker named OTHER."""
    part = connected(graph.links)
    large = np.bincount(part)[part] >= LEAST_NODES
    return np.where((found == 0) & large, Bone.OTHER.code, found).astype(np.uint8)


def _part(graph: BoneGraph, places: Floats, cut: UprightCut) -> None:
    """Take away the links that cross a disc, in place."""
    off = places - cut.center
    height = off @ cut.normal
    for axis in range(3):
        ahead = graph.links[:, axis]
        there = np.maximum(ahead, 0)
        crosses = (ahead >= 0) & (height * height[there] <= 0) & (height != height[there])
        share = np.where(crosses, height / np.where(crosses, height - height[there], 1.0), 0.0)
        meets = off + share[:, None] * (places[there] - places)
        across = np.linalg.norm(meets - np.outer(meets @ cut.normal, cut.normal), axis=1)
        graph.links[crosses & (across <= cut.radius_mm), axis] = -1


def valley_reach(spacing_mm: Floats) -> tuple[int, int]:
    """Voxels along y and x in which the walls of a valley are looked for."""
    y, x = (max(1, round(VALLEY_MM / float(s))) for s in spacing_mm[1:])
    return y, x


def unsure_at_borders(codes: Codes) -> Codes:
    """Codes, unsure where a block touches another code, diagonally too."""
    known = np.where((codes == 0) | (codes == UNSURE), 0, codes)
    highest = ndimage.maximum_filter(known, size=3, mode="nearest")
    lowest = ndimage.minimum_filter(np.where(known == 0, 255, known), size=3, mode="nearest")
    mixed = (highest != lowest) & (known > 0)
    return np.where(mixed, UNSURE, codes).astype(np.uint8)
