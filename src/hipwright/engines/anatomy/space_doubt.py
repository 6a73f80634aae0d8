"""The doubt of bones in space, as draws: noise of the edge, a common shift, landmarks, frames.

Draws have a leading axis: index 0 is the bone as surveyed (no noise), then come ``count``
draws in mirrored pairs, so that an interval of anything that is linear in the noise is
centered on the surveyed value.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from hipwright.catalog import load
from hipwright.domain.anatomy import BoneQuality
from hipwright.domain.errors import DegenerateGeometryError

Floats = NDArray[np.float64]

NODES_PER_CORRELATION = 1.5
"""How densely white noise is laid on the surface before it is smoothed; at 1.5 the variance
between nodes is even to a few percent before it is leveled."""


def catalog_landmark_sds() -> Mapping[str, float]:
    """Spread of each automatic landmark by id, mm a direction, from the catalog."""
    features = load().bone_features.values()
    return MappingProxyType({f.id: f.sd_mm for f in features if f.sd_mm > 0})


@dataclass(frozen=True, slots=True, kw_only=True)
class SpaceDoubt:
    """How far a surveyed bone may be from the real one; all one standard deviation.

    Parameters
    ----------
    edge_sd_mm
        Noise of the surface, alike over about ``correlation_mm``.
    edge_bias_sd_mm
        A shift outward or inward of the whole bone's surface.
    landmark_sd_mm
        Spread of landmarks by id, mm a direction; the catalog's by default.
    frame_sd_deg
        Extra turn of the bone's frame about each of its axes, where it rests on a fallback.
    count
        Draws, beside the surveyed bone.

    Raises
    ------
    DegenerateGeometryError
        A spread is negative, or there is no draw.
    """

    edge_sd_mm: float
    edge_bias_sd_mm: float
    correlation_mm: float = 5.0
    landmark_sd_mm: Mapping[str, float] = field(default_factory=catalog_landmark_sds)
    frame_sd_deg: float = 0.0
    count: int = 200

    def __post_init__(self) -> None:
        spreads = (
            self.edge_sd_mm,
            self.edge_bias_sd_mm,
            self.frame_sd_deg,
            *self.landmark_sd_mm.values(),
        )
        good = all(math.isfinite(s) and s >= 0 for s in spreads)
        if not good or not self.correlation_mm > 0 or self.count < 1:
            raise DegenerateGeometryError(
                "cannot draw the doubt of a bone",
                found=f"spreads {spreads}, {self.correlation_mm} mm, {self.count} draws",
                needed="spreads of zero or more, a positive length and at least one draw",
                next_step="Make the bone models again.",
            )

    @classmethod
    def of_bone(
        cls, quality: BoneQuality, *, frame_sd_deg: float = 0.0, count: int = 200
    ) -> SpaceDoubt:
        """The doubt that a bone's own quality tells, with the catalog's landmarks."""
        return cls(
            edge_sd_mm=quality.edge_sd_mm,
            edge_bias_sd_mm=quality.edge_bias_sd_mm,
            frame_sd_deg=frame_sd_deg,
            count=count,
        )


def paired_normals(rng: np.random.Generator, count: int, width: int) -> Floats:
    """Standard normals, (count + 1, width): a row of zeros, then mirrored pairs."""
    half = rng.standard_normal(((count + 1) // 2, width))
    return np.concatenate([np.zeros((1, width)), half, -half])[: count + 1]


def edge_shifts(rng: np.random.Generator, doubt: SpaceDoubt) -> Floats:
    """Shift of the whole surface outward, mm, (count + 1,)."""
    return doubt.edge_bias_sd_mm * paired_normals(rng, doubt.count, 1)[:, 0]


def edge_noise(rng: np.random.Generator, places_mm: Floats, doubt: SpaceDoubt) -> Floats:
    """Smooth noise of the surface at some of its places, without the common shift.

    White noise on places that are a fraction of the correlation length apart, smoothed with
    a normal bell, so that two places d apart are correlated by exp(−d²/2l²). Places of
    several maps of one bone that are given together get one and the same noise.

    Parameters
    ----------
    places_mm
        Shape (..., 3); NaN places get no noise.

    Returns
    -------
    Outward shift in mm, (count + 1, ...).
    """
    flat = places_mm.reshape(-1, 3)
    there = np.isfinite(flat).all(axis=1)
    noise = np.zeros((doubt.count + 1, len(flat)))
    if there.any() and doubt.edge_sd_mm > 0:
        weights = _smoothing(flat[there], doubt.correlation_mm)
        white = paired_normals(rng, doubt.count, weights.shape[1]).astype(np.float32)
        half = (doubt.count + 1) // 2  # the rest are mirrored, and the first is still
        drawn = doubt.edge_sd_mm * (white[1 : half + 1] @ weights.T)
        noise[1 : half + 1, there] = drawn
        noise[half + 1 :, there] = -drawn[: doubt.count - half]
    return noise.reshape(doubt.count + 1, *places_mm.shape[:-1])


def _smoothing(places: Floats, correlation_mm: float) -> NDArray[np.float32]:
    """Weights of nodes at places, (n, nodes), each row of unit length."""
    cells = np.floor(places * (NODES_PER_CORRELATION / correlation_mm)).astype(np.int64)
    _, first = np.unique(cells, axis=0, return_index=True)
    nodes = places[np.sort(first)].astype(np.float32)
    here = places.astype(np.float32)
    apart = (here**2).sum(1)[:, None] + (nodes**2).sum(1) - 2.0 * (here @ nodes.T)
    weights = np.exp(-apart / np.float32(correlation_mm**2))
    return weights / np.sqrt((weights**2).sum(axis=1, keepdims=True))


def landmark_shifts(rng: np.random.Generator, landmark: str, doubt: SpaceDoubt) -> Floats:
    """How far a landmark lies elsewhere, mm, (count + 1, 3); zero where no spread is known."""
    return doubt.landmark_sd_mm.get(landmark, 0.0) * paired_normals(rng, doubt.count, 3)


def small_turns(rng: np.random.Generator, sd_deg: float, count: int) -> Floats:
    """Turns about the three axes, (count + 1, 3, 3), the first none."""
    vectors = np.radians(sd_deg) * paired_normals(rng, count, 3)
    return np.asarray(Rotation.from_rotvec(vectors).as_matrix())
