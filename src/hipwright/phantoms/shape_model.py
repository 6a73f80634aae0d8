"""A statistical shape model of pelvis and femur, evaluated as closed surfaces."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.patches import Patch, PatchTriangulation, connected_parts, triangulate
from hipwright.phantoms.surfaces import TriangleSurface

Floats = NDArray[np.float64]

DISTORTING_MODES = frozenset({3, 4})
"""Modes that the people leave alone, counted from 1 (judgment, after an earlier study)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ShapeModel:
    """Mean nodes and modes of one pelvis and one left femur.

    Axes +left +posterior +superior, mm.

    Attributes
    ----------
    mean
        Shape ``(n nodes, 3)``, mm: pelvis nodes first, femur nodes after them.
    modes
        Shape ``(n modes, n nodes, 3)``: unit modes.
    variances
        Shape ``(n modes,)``: variance along each mode.
    pelvis
        Patches over nodes ``0 … n_pelvis - 1``: left and right hip bone and sacrum.
    femur
        Patches over the femur nodes, counted from ``0``.
    pelvis_nodes
        How many of the nodes are the pelvis's.
    """

    mean: Floats
    modes: Floats
    variances: Floats
    pelvis: tuple[Patch, ...]
    femur: tuple[Patch, ...]
    pelvis_nodes: int
    steps: int = 12

    def __post_init__(self) -> None:
        if self.modes.shape[1:] != self.mean.shape or len(self.modes) != len(self.variances):
            raise ValueError(
                f"modes {self.modes.shape} and variances {self.variances.shape} do not belong to "
                f"a mean of shape {self.mean.shape}"
            )

    @cached_property
    def _bones(self) -> dict[str, tuple[slice, PatchTriangulation]]:
        pelvic, femoral = slice(0, self.pelvis_nodes), slice(self.pelvis_nodes, None)
        nodes = self.mean[pelvic]
        parts = connected_parts(self.pelvis)
        middles = [
            float(nodes[sorted({n for p in part for n in p.nodes})][:, 0].mean()) for part in parts
        ]
        names = dict(
            zip(
                np.argsort(middles).tolist(),
                ("hip_bone_right", "sacrum", "hip_bone_left"),
                strict=True,
            )
        )
        bones = {
            names[k]: (pelvic, triangulate(part, nodes, steps=self.steps))
            for k, part in enumerate(parts)
        }
        femur = triangulate(self.femur, self.mean[femoral], steps=self.steps + self.steps // 2)
        return bones | {"femur_left": (femoral, femur)}

    def nodes(self, weights: Mapping[int, float]) -> Floats:
        """Return the nodes for mode weights in standard deviations, modes counted from 1."""
        nodes = self.mean.copy()
        for mode, weight in weights.items():
            if not 1 <= mode <= len(self.modes):
                raise ValueError(f"modes are counted 1 … {len(self.modes)}, not {mode}")
            nodes += weight * np.sqrt(self.variances[mode - 1]) * self.modes[mode - 1]
        return nodes

    def shape(self, weights: Mapping[int, float]) -> dict[str, TriangleSurface]:
        """Return hip_bone_left, hip_bone_right, sacrum and femur_left, closed, outward."""
        nodes = self.nodes(weights)
        return {name: cut.surface(nodes[part]) for name, (part, cut) in self._bones.items()}
