"""What is noticed about a scan as a whole: metal, motion, sharpness, noise, density, coverage.

Limits are judgments on simulated CT; each remark carries its figure and its limit.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.domain.anatomy import Bone, Remark, Severity
from hipwright.engines.imaging.tissue_levels import BODY_HU
from hipwright.engines.segmentation.find_hips import FoundHip
from hipwright.engines.segmentation.segmentation import TissueLevels

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Voxels = NDArray[np.int16]

METAL_HU = 2900
METAL_SHARE = 2e-5
METAL_NEAR_MM = 70.0
METAL_NEAR_MM3 = 300.0
JUMP_MM = 1.5
BRIGHTEST_HU = 200
THICK_SLICES_MM = 1.25
NOISE_HU = 45.0
SOFT_KERNEL_MM = 0.75
SHARP_KERNEL_MM = 0.33
MARROW_HU = 120.0
BIAS_SHARE = 0.12
CONTRAST_SHARE = 0.003
LESSER_TROCHANTER_RADII = 3.0
SOCKET_MARGIN_MM = 10.0

_SAMPLES = 500
_NEIGHBORS = 11


def _warning(
    code: str,
    text: str,
    figure: float,
    limit: float,
    unit: str,
    severity: Severity = Severity.WARNING,
    bone: Bone | None = None,
) -> Remark:
    return Remark(
        code=code,
        severity=severity,
        text=text,
        bone=bone,
        figure=round(float(figure), 4),
        limit=limit,
        unit=unit,
    )


def metal_remarks(
    values: Voxels, spacing_mm: Floats, hips: Sequence[FoundHip]
) -> tuple[Remark, ...]:
    """Metal anywhere is a warning; much of it beside a hip refuses that hip's bones."""
    bright = np.argwhere(values >= METAL_HU)
    share = len(bright) / values.size
    if share < METAL_SHARE:
        return ()
    found = [
        _warning(
            "scan.metal",
            f"Metal lies in the field: {100 * share:.3f} % of the voxels are saturated, and up to "
            f"{100 * METAL_SHARE:.3f} % is usual. Streaks move the edges of bone near it: look at "
            "the surfaces there before you measure.",
            100 * share,
            100 * METAL_SHARE,
            "%",
        )
    ]
    places = bright[:, ::-1] * spacing_mm[::-1]
    for hip in hips:
        near = np.linalg.norm(places - hip.sphere.center, axis=1) < METAL_NEAR_MM
        amount = float(near.sum() * spacing_mm.prod())
        if amount < METAL_NEAR_MM3:
            continue
        found += [
            _warning(
                "bone.metal",
                f"{amount:.0f} mm³ of metal lie within {METAL_NEAR_MM:.0f} mm of the head; up to "
                f"{METAL_NEAR_MM3:.0f} mm³ is let pass. The edge of {bone.words.lower()} cannot "
                "be trusted: look at it and correct the labels, or leave this side out.",
                amount,
                METAL_NEAR_MM3,
                "mm3",
                Severity.REFUSAL,
                bone,
            )
            for bone in (hip.femur, hip.hip_bone)
        ]
    return tuple(found)


def motion_remarks(coarse: Voxels, step_mm: Floats) -> tuple[Remark, ...]:
    """A sudden sideways jump of the body between two slices.

    Parameters
    ----------
    coarse
        Block means in the slices.
    step_mm
        Their spacing along x, y, z.
    """
    if len(coarse) < _NEIGHBORS:
        return ()
    body = np.clip(coarse, BODY_HU, BRIGHTEST_HU).astype(np.float32) - BODY_HU
    moved = np.stack(
        [
            _shifts(body.sum(axis=1)) * step_mm[0],
            _shifts(body.sum(axis=2)) * step_mm[1],
        ],
        axis=1,
    )
    usual: Floats = ndimage.median_filter(moved, size=(_NEIGHBORS, 1), mode="nearest")
    jump: Floats = np.linalg.norm(moved - usual, axis=1)
    largest = float(jump.max())
    if largest < JUMP_MM:
        return ()
    return (
        _warning(
            "scan.motion",
            f"The body jumps by {largest:.1f} mm between slices {int(jump.argmax())} and "
            f"{int(jump.argmax()) + 1} from below; up to {JUMP_MM} mm is usual. The patient has "
            "probably moved: look at the bone there, and scan again if the joint is concerned.",
            largest,
            JUMP_MM,
            "mm",
        ),
    )


def _shifts(profiles: NDArray[np.float32]) -> Floats:
    """How far each profile is moved against the one before it, in samples, to first order."""
    slopes = np.gradient((profiles[1:] + profiles[:-1]) / 2, axis=1)
    change = np.diff(profiles, axis=0)
    power = np.maximum((slopes**2).sum(axis=1), 1e-6)
    return np.asarray(-(change * slopes).sum(axis=1) / power, dtype=np.float64)


def sharpness_remarks(
    levels: TissueLevels, slice_mm: float, thickness_mm: float | None
) -> tuple[Remark, ...]:
    """Thick slices, noise, and kernels that are very soft or very sharp."""
    found: list[Remark] = []
    slices = max(slice_mm, thickness_mm or 0.0)
    if slices > THICK_SLICES_MM + 1e-6:
        found.append(
            _warning(
                "scan.thick_slices",
                f"The slices measure {slices:.2f} mm; up to {THICK_SLICES_MM} mm keeps edges and "
                "a narrow joint exact. Values near the joint and at the head-neck junction carry "
                "more doubt: scan with thinner slices where it matters.",
                slices,
                THICK_SLICES_MM,
                "mm",
            )
        )
    if levels.noise_hu > NOISE_HU:
        found.append(
            _warning(
                "scan.noise",
                f"The noise is {levels.noise_hu:.0f} HU; up to {NOISE_HU:.0f} HU is let pass. "
                "Edges scatter: prefer a series with a softer kernel or thicker dose if there is "
                "one.",
                levels.noise_hu,
                NOISE_HU,
                "[hnsf'U]",
            )
        )
    if levels.blur_mm > SOFT_KERNEL_MM:
        found.append(
            _warning(
                "scan.soft_kernel",
                f"The kernel is soft: edges are blurred by {levels.blur_mm:.2f} mm (standard "
                f"deviation), and {SOFT_KERNEL_MM} mm is the most for a narrow joint. Choose a "
                "bone kernel of the same scan if there is one.",
                levels.blur_mm,
                SOFT_KERNEL_MM,
                "mm",
            )
        )
    if levels.blur_mm < SHARP_KERNEL_MM:
        found.append(
            _warning(
                "scan.sharp_kernel",
                f"The kernel is very sharp: edges are blurred by {levels.blur_mm:.2f} mm "
                f"(standard deviation), and less than {SHARP_KERNEL_MM} mm often overshoots. "
                "Compare with a softer series if the surfaces look rough.",
                levels.blur_mm,
                SHARP_KERNEL_MM,
                "mm",
                Severity.NOTE,
            )
        )
    return tuple(found)


def density_remarks(
    values: Voxels, step_mm: Floats, hips: Sequence[FoundHip], soft_hu: float
) -> tuple[Remark, ...]:
    """Marrow of the femoral head hardly denser than soft tissue."""
    found: list[Remark] = []
    for hip in hips:
        marrow = head_marrow_hu(values, step_mm, hip) - soft_hu
        if marrow < MARROW_HU:
            found.append(
                _warning(
                    "bone.low_density",
                    f"The inside of the head lies {marrow:.0f} HU over soft tissue; below "
                    f"{MARROW_HU:.0f} HU thin cortex may be missed. Look at the joint and the "
                    "neck on the slices before you rely on single values.",
                    marrow,
                    MARROW_HU,
                    "[hnsf'U]",
                    bone=hip.femur,
                )
            )
    return tuple(found)


def head_marrow_hu(values: Voxels, step_mm: Floats, hip: FoundHip) -> float:
    """Median inside the inner half of a head."""
    rng = np.linspace(-0.5, 0.5, 9) * hip.sphere.radius_mm
    grid = np.stack(np.meshgrid(rng, rng, rng, indexing="ij"), axis=-1).reshape(-1, 3)
    at = np.rint((hip.sphere.center + grid) / step_mm)[:, ::-1].astype(np.intp)
    at = np.clip(at, 0, np.array(values.shape) - 1)
    return float(np.median(values[tuple(at.T)]))


def bias_remarks(
    coarse: Voxels, middle: float, step_mm: Floats, bone_hu: float
) -> tuple[Remark, ...]:
    """Cortex of one half of the body brighter than that of the other."""
    at = int(np.clip(middle / step_mm[0], 1, coarse.shape[2] - 1))
    halves = [coarse[:, :, :at], coarse[:, :, at:]]
    dense = [half[half > bone_hu] for half in halves]
    if min(len(d) for d in dense) < _SAMPLES:
        return ()
    right, left = (float(np.quantile(d, 0.92)) for d in dense)
    share = abs(left / right - 1.0)
    if share < BIAS_SHARE:
        return ()
    return (
        _warning(
            "scan.intensity_bias",
            f"Cortex differs by {100 * share:.0f} % between the two sides; up to "
            f"{100 * BIAS_SHARE:.0f} % is usual. Something dense beside the body or a beam that "
            "hardens moves the edges a little: compare the sides with care.",
            100 * share,
            100 * BIAS_SHARE,
            "%",
        ),
    )


def contrast_remarks(
    coarse: Voxels, labeled: Codes, spacing_mm: Floats, soft_hu: float
) -> tuple[Remark, ...]:
    """Bright soft tissue away from bone: contrast medium in vessels, bladder or bowel.

    Parameters
    ----------
    coarse, labeled
        Block means, and the label in the middle of each block.
    spacing_mm
        Of the blocks along z, y, x.
    soft_hu
        Soft tissue.
    """
    low, high = soft_hu + 110.0, soft_hu + 420.0
    reach = tuple(int(np.ceil(4.0 / s)) for s in spacing_mm)
    bone = ndimage.maximum_filter((labeled > 0) | (coarse > high), size=[2 * r + 1 for r in reach])
    bright = (coarse > low) & (coarse <= high) & ~bone
    solid = ndimage.binary_opening(bright, np.ones((1, 3, 3), bool))
    share = float(solid.sum()) / max(float((coarse > BODY_HU).sum()), 1.0)
    if share < CONTRAST_SHARE:
        return ()
    return (
        _warning(
            "scan.contrast",
            f"{100 * share:.1f} % of the body is bright soft tissue, as contrast medium makes it; "
            f"up to {100 * CONTRAST_SHARE:.1f} % is usual. Vessels and bladder beside bone may "
            "have been taken for bone: look at the labels there.",
            100 * share,
            100 * CONTRAST_SHARE,
            "%",
            Severity.NOTE,
        ),
    )


def coverage_remarks(
    hips: Sequence[FoundHip], extent_mm: Floats, cut: Sequence[Bone]
) -> tuple[Remark, ...]:
    """What the field cuts off.

    Parameters
    ----------
    hips
        Found hips, upright mm.
    extent_mm
        Size of the field along x, y, z.
    cut
        Hip bones that any face of the field cuts.
    """
    found: list[Remark] = []
    for hip in hips:
        center, radius = hip.sphere.center, hip.sphere.radius_mm
        room = float(np.minimum(center, extent_mm - center).min()) - radius
        words = hip.femur.words.lower()
        if room < 0:
            found += [
                _warning(
                    "coverage.head",
                    f"The field cuts off {-room:.0f} mm of the head of the {words}, and the whole "
                    "head is needed. Nothing is measured here: use a series that shows it whole.",
                    room,
                    0.0,
                    "mm",
                    Severity.REFUSAL,
                    bone,
                )
                for bone in (hip.femur, hip.hip_bone)
            ]
        elif room < SOCKET_MARGIN_MM:
            found.append(
                _warning(
                    "coverage.socket",
                    f"The field ends {room:.0f} mm beyond the head of the {words}; at least "
                    f"{SOCKET_MARGIN_MM:.0f} mm hold the socket. Values at the rim may be missing "
                    "there.",
                    room,
                    SOCKET_MARGIN_MM,
                    "mm",
                    bone=hip.hip_bone,
                )
            )
        below = float(center[2])
        if below < LESSER_TROCHANTER_RADII * radius:
            found.append(
                _warning(
                    "coverage.lesser_trochanter",
                    f"The field ends {below:.0f} mm below the center of the head; about "
                    f"{LESSER_TROCHANTER_RADII * radius:.0f} mm reach below the lesser "
                    "trochanter. Values that need it or the shaft are not measured.",
                    below,
                    round(LESSER_TROCHANTER_RADII * radius, 1),
                    "mm",
                    Severity.NOTE,
                    hip.femur,
                )
            )
        if hip.hip_bone in cut:
            found.append(
                Remark(
                    code="coverage.hip_bone",
                    severity=Severity.NOTE,
                    text=f"The field ends in the {hip.hip_bone.words.lower()}: crest, ischium or "
                    "symphysis may be missing, and with them the planes built on them.",
                    bone=hip.hip_bone,
                )
            )
    return tuple(found)
