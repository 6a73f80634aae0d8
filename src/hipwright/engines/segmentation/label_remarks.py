"""What is noticed about the labels: pairs, volumes, heads, the way from head to shaft."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone, Remark, Severity
from hipwright.engines.segmentation.find_hips import APART_MM, FoundHip
from hipwright.engines.segmentation.head_to_shaft import HeadToShaft

Floats = NDArray[np.float64]

RADII_DIFFER_MM = 3.0
VOLUME_RATIO = (0.85, 1.15)
ROUND_MM = 0.55
ROUND_SHARE = 0.45


def pair_remarks(hips: Sequence[FoundHip]) -> tuple[Remark, ...]:
    """One hip alone, or two that hardly belong together."""
    if len(hips) == 1:
        hip = hips[0]
        return (
            Remark(
                code="pair.one_side",
                severity=Severity.NOTE,
                text=f"Only one hip was found, at the {hip.femur.words.lower()}; its "
                "side was told by the way its neck points. Check the side before you measure.",
                bone=hip.femur,
            ),
        )
    right, left = hips
    apart = float(np.linalg.norm(left.sphere.center - right.sphere.center))
    found: list[Remark] = []
    if not APART_MM[0] <= apart <= APART_MM[1]:
        found.append(
            Remark(
                code="pair.distance",
                severity=Severity.REFUSAL,
                text=f"The two heads lie {apart:.0f} mm apart; {APART_MM[0]:.0f} to "
                f"{APART_MM[1]:.0f} mm is usual. One of them may be no head: look at both.",
                figure=round(apart, 1),
                limit=APART_MM[1] if apart > APART_MM[1] else APART_MM[0],
                unit="mm",
            )
        )
    differ = abs(left.sphere.radius_mm - right.sphere.radius_mm)
    if differ > RADII_DIFFER_MM:
        found.append(
            Remark(
                code="pair.radii",
                severity=Severity.WARNING,
                text=f"The radii of the two heads differ by {differ:.1f} mm; up to "
                f"{RADII_DIFFER_MM} mm is usual. Look at the larger one's fit before you measure.",
                figure=round(differ, 2),
                limit=RADII_DIFFER_MM,
                unit="mm",
            )
        )
    return tuple(found)


def volume_remarks(volumes_mm3: Mapping[Bone, float], cut: Sequence[Bone]) -> tuple[Remark, ...]:
    """Hip bones of very different volume: one has lost a part or taken one in."""
    pair = (Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT)
    if any(bone in cut or not volumes_mm3.get(bone) for bone in pair):
        return ()
    ratio = volumes_mm3[pair[0]] / volumes_mm3[pair[1]]
    if VOLUME_RATIO[0] <= ratio <= VOLUME_RATIO[1]:
        return ()
    return tuple(
        Remark(
            code="pair.volumes",
            severity=Severity.REFUSAL,
            text=f"The right hip bone has {ratio:.2f} times the volume of the left; "
            f"{VOLUME_RATIO[0]} to {VOLUME_RATIO[1]} is usual. One has lost a part or taken one "
            "in, most likely at the sacroiliac joint: look there and correct the labels.",
            bone=bone,
            figure=round(ratio, 3),
            limit=VOLUME_RATIO[0] if ratio < 1 else VOLUME_RATIO[1],
            unit="1",
        )
        for bone in pair
    )


def head_remarks(hip: FoundHip, way: HeadToShaft) -> tuple[Remark, ...]:
    """A head that is not round, or a femur that is not one solid."""
    found: list[Remark] = []
    words = hip.femur.words.lower()
    sphere = hip.sphere
    if sphere.inlier_share < ROUND_SHARE or sphere.rms_mm > ROUND_MM:
        found.append(
            Remark(
                code="head.not_round",
                severity=Severity.WARNING,
                text=f"Only {100 * sphere.inlier_share:.0f} % of the surface of the head of the "
                f"{words} lies within 1 mm of a sphere; {100 * ROUND_SHARE:.0f} % is the least "
                "for a sure center. Check the sphere on the bone before you measure.",
                bone=hip.femur,
                figure=round(100 * sphere.inlier_share, 1),
                limit=100 * ROUND_SHARE,
                unit="%",
            )
        )
    if not way.one_solid:
        found.append(
            Remark(
                code="femur.not_one_solid",
                severity=Severity.REFUSAL,
                text=f"Head and shaft of the {words} do not hang together through the neck. The "
                "neck was cut or is broken: look at it on the slices and paint what is missing.",
                bone=hip.femur,
            )
        )
    if way.tunnels:
        found.append(
            Remark(
                code="femur.tunnels",
                severity=Severity.WARNING,
                text=f"{way.tunnels} tunnel{'s run' if way.tunnels > 1 else ' runs'} through head "
                f"or neck of the {words}, and a bone has none. Look at the neck on the slices and "
                "fill the hole in the labels.",
                bone=hip.femur,
                figure=float(way.tunnels),
                limit=0.0,
                unit="1",
            )
        )
    return tuple(found)
