"""The hips of a volume: round heads in sockets, with their necks and joint surfaces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone
from hipwright.domain.errors import SegmentationError
from hipwright.engines.imaging.ray_samples import even_directions
from hipwright.engines.imaging.tissue_levels import GrayLevels
from hipwright.engines.segmentation.head_sphere import RAYS, HeadSphere, fit_from, fit_head
from hipwright.engines.segmentation.joint_gap import WINDOW_DEG, PolarGap, find_gap
from hipwright.engines.segmentation.neck_direction import INFERIOR, LATERAL, neck_direction
from hipwright.engines.segmentation.segmentation import gap_radius_toward

Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

LEAST_SCORE = 0.55
PAIR_SCORE = 0.45
"""Least score of a head that stands alone, and of one of a pair (judgment, on simulated CT)."""

LEAST_COVERAGE = 0.2
"""Least share of the sphere that faces a socket: a shoulder or a condyle has less (judgment)."""

APART_MM = (110.0, 260.0)
"""Distance of the two heads (common practice)."""

LEVEL_MM = 45.0
"""How much one head may lie in front of or above the other, before the pelvis is turned."""

RADII_DIFFER_MM = 5.0
SAME_MM = 10.0
FROM_NECK_DEG = 75.0
LEAST_COVERED = 0.25
MOST_MOVED_MM = 3.0
ROUNDER = 0.6
"""The covered part is fitted alone where that is so much rounder; a tight joint is not."""

LEAST_LATERAL_INFERIOR = 0.55
"""Cosine between a neck and the way necks point; condyles of a knee have none (judgment)."""

ROUGHEST_MM = 0.5
EXAMINED = 5


class NoHipError(SegmentationError):
    """A CT of something else: no round head in a socket."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundHip:
    """One hip in upright mm.

    Attributes
    ----------
    femur, hip_bone
        Its bones, which name the side.
    lateral
        +1 where growing x is lateral, −1 for a right hip.
    """

    femur: Bone
    hip_bone: Bone
    lateral: float
    sphere: HeadSphere
    neck: Floats
    gap: PolarGap = field(repr=False)


def _named(lateral: float) -> tuple[Bone, Bone]:
    if lateral > 0:
        return Bone.FEMUR_LEFT, Bone.HIP_BONE_LEFT
    return Bone.FEMUR_RIGHT, Bone.HIP_BONE_RIGHT


def examined_hip(
    values: Voxels,
    step_mm: Floats,
    sphere: HeadSphere,
    lateral: float | None,
    levels: GrayLevels,
) -> FoundHip:
    """Find neck and joint surface of a head; without a word on its side, the neck tells it."""
    step_hu = levels.cortex_hu - levels.soft_hu

    def neck(sign: float) -> tuple[Floats, float]:
        return neck_direction(
            values,
            step_mm,
            sphere.center,
            sphere.radius_mm,
            sign,
            soft_hu=levels.soft_hu,
            step_hu=step_hu,
        )

    if lateral is None:
        lateral = max((-1.0, 1.0), key=lambda sign: neck(sign)[1])
    direction = neck(lateral)[0]
    femur, hip_bone = _named(lateral)
    gap = gap_of(values, step_mm, sphere, direction, levels)
    better = _covered_sphere(values, step_mm, sphere, gap, direction, step_hu)
    if better is not None:
        sphere, gap = better, gap_of(values, step_mm, better, direction, levels)
    return FoundHip(
        femur=femur, hip_bone=hip_bone, lateral=lateral, sphere=sphere, neck=direction, gap=gap
    )


def _covered_sphere(
    values: Voxels,
    step_mm: Floats,
    sphere: HeadSphere,
    gap: PolarGap,
    neck: Floats,
    step_hu: float,
) -> HeadSphere | None:
    """The sphere through the covered part of the head alone, which no cam reaches."""
    directions = even_directions(RAYS)
    covered = np.isfinite(gap_radius_toward(directions, gap.axes, gap.radius_mm, gap.acts))
    covered &= directions @ neck < np.cos(np.radians(FROM_NECK_DEG))
    if covered.mean() < LEAST_COVERED:
        return None
    fit = fit_from(
        values, step_mm, sphere.center, sphere.radius_mm, step_hu=step_hu, trusted=covered
    )
    if fit is None or fit.rms_mm > ROUNDER * sphere.rms_mm:
        return None
    if float(np.linalg.norm(fit.center - sphere.center)) > MOST_MOVED_MM:
        return None
    return fit


def gap_of(
    values: Voxels,
    step_mm: Floats,
    sphere: HeadSphere,
    neck: Floats,
    levels: GrayLevels,
    window_deg: float = WINDOW_DEG,
) -> PolarGap:
    """Joint surface of a head, with a neck window of that half opening."""
    return find_gap(
        values,
        step_mm,
        sphere.center,
        sphere.radius_mm,
        neck,
        soft_hu=levels.soft_hu,
        bone_hu=levels.threshold_hu,
        cortex_hu=levels.cortex_hu,
        window_deg=window_deg,
    )


def widened(
    hip: FoundHip, values: Voxels, step_mm: Floats, levels: GrayLevels, window_deg: float
) -> FoundHip:
    """The hip with a wider window about its neck."""
    return replace(
        hip, gap=gap_of(values, step_mm, hip.sphere, hip.neck, levels, window_deg=window_deg)
    )


def find_hips(
    values: Voxels,
    step_mm: Floats,
    candidates: Sequence[tuple[Floats, float]],
    levels: GrayLevels,
) -> tuple[FoundHip, ...]:
    """Choose the hips among candidates, right before left.

    Parameters
    ----------
    values, step_mm
        Upright voxels and spacing along x, y, z.
    candidates
        Centers (upright mm) and radii.
    levels
        Gray levels of the scan.

    Raises
    ------
    NoHipError
        No round head in a socket was found.
    """
    step_hu = levels.cortex_hu - levels.soft_hu
    spheres: list[HeadSphere] = []
    for center, radius in candidates:
        sphere = fit_head(values, step_mm, center, radius, step_hu=step_hu)
        if sphere is None or sphere.score < PAIR_SCORE:
            continue
        twin = next(
            (s for s in spheres if float(np.linalg.norm(s.center - sphere.center)) < SAME_MM), None
        )
        if twin is None:
            spheres.append(sphere)
        elif sphere.score > twin.score:
            spheres[spheres.index(twin)] = sphere
    spheres.sort(key=lambda s: -s.score)
    for pair in _pairs(spheres)[:EXAMINED]:
        hips = tuple(
            examined_hip(values, step_mm, s, sign, levels)
            for s, sign in zip(pair, (-1.0, 1.0), strict=True)
        )
        if all(_plausible(h) for h in hips):
            return hips
    for sphere in spheres[:EXAMINED]:
        if sphere.score < LEAST_SCORE:
            break
        hip = examined_hip(values, step_mm, sphere, None, levels)
        if _plausible(hip):
            return (hip,)
    raise NoHipError(
        "cannot find a hip in the volume",
        found=_what_was_found(spheres),
        needed="a round head of 15 to 31 mm radius that lies in a socket",
        next_step="Choose the series of the hips; knees and ankles only add to it.",
        field="volume",
    )


def _plausible(hip: FoundHip) -> bool:
    """Whether a head lies in a socket and has a neck that points down to the side."""
    usual = np.array([LATERAL * hip.lateral, 0.0, -INFERIOR])
    along = float(hip.neck @ usual / np.linalg.norm(usual))
    round_enough = hip.sphere.rms_mm < ROUGHEST_MM
    return hip.gap.coverage >= LEAST_COVERAGE and along >= LEAST_LATERAL_INFERIOR and round_enough


def _pairs(spheres: Sequence[HeadSphere]) -> list[tuple[HeadSphere, HeadSphere]]:
    """Plausible pairs (right, left), best first."""
    pairs: list[tuple[HeadSphere, HeadSphere]] = []
    for i, one in enumerate(spheres):
        for two in spheres[i + 1 :]:
            right, left = sorted((one, two), key=lambda s: float(s.center[0]))
            off = left.center - right.center
            plausible = APART_MM[0] <= off[0] <= APART_MM[1] and np.abs(off[1:]).max() < LEVEL_MM
            if plausible and abs(one.radius_mm - two.radius_mm) < RADII_DIFFER_MM:
                pairs.append((right, left))
    return sorted(pairs, key=lambda p: -(p[0].score + p[1].score))


def _what_was_found(spheres: Sequence[HeadSphere]) -> str:
    if not spheres:
        return "no round bone end"
    best = spheres[0]
    return (
        f"{len(spheres)} roundish bone ends, the roundest of {best.radius_mm:.0f} mm radius with "
        f"{100 * best.inlier_share:.0f} % of its surface within 1 mm of a sphere, and no socket"
    )
