"""The shaft of a femur and its two trochanters.

Axes: X lateral, Y anterior, Z superior, mm; "level" is the height along the shaft's axis
over the center of the head.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from hipwright.catalog.frame_fallbacks import frame_fallbacks
from hipwright.domain.errors import DegenerateGeometryError
from hipwright.engines.anatomy.femur_head import BoneMesh
from hipwright.engines.anatomy.femur_neck import Isthmus
from hipwright.engines.anatomy.femur_sections import SectionStack, middle_of_outline
from hipwright.engines.geometry.meshes import face_pieces
from hipwright.engines.geometry.spheres import SphereFit, fit_line

Floats = NDArray[np.float64]

ROUNDS = 5
STEP_MM = 4.0
BELOW_HEAD = 3.4
"""Head radii below the center at which the shaft is first taken to begin."""
LENGTH_MM = 80.0
"""Length of the part of the shaft that the axis is fitted to: farther down it bows, and many
scans end there, so that long and short ones give the same axis."""
LID_MM = 3.0
"""Height over the lid of a scan in which a model is rounded off."""
LID_HIGH_MM = 25.0
LID_FACES = -0.5
"""Within so much of the lowest place, what faces downward this much is the lid."""
CURVE_SHOWS_MM = 66.0
"""Shortest stretch of shaft whose curve is told from unevenness."""
KNEE_LEVEL = -17.5
"""Height of the knee over the head's center in head radii, on an ordinary femur."""
SHORTEST_MM = 40.0
"""Shortest stretch of shaft whose axis is told. The shaft still flares below the lesser
trochanter: on five femora (one real person, two modeled ones) the axis of 48 mm lay 1 to 2° from
that of the whole stretch, of 36 mm 2 to 3°, of 12 mm 5 to 9°."""
ROUGH_MM = 12.0
"""Shortest stretch that tells where the trochanters are to be looked for."""
LESSER_LEVELS = (-1.0, -4.2)
LESSER_BELOW_MM = 12.0
"""How far below the tip of the lesser trochanter the shaft is taken to begin."""
POSTEROMEDIAL = (0.55, 0.84)
"""Direction in which the lesser trochanter stands out: share medial, share posterior."""
GREATER_FROM = 0.1
GREATER_BEYOND = 0.35
"""Head radii beyond the narrowest section from which on bone belongs to the trochanter."""
HEAD_ENDS = 1.1
BIN_MM = 1.5
PROMINENT_MM = 0.7
FEWEST_BINS = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shaft:
    """Axis of the shaft below the lesser trochanter.

    Attributes
    ----------
    point
        Middle of the sections it goes through, (3,).
    axis
        Unit direction upward.
    low, high
        Its two ends on the axis, (3,) each.
    """

    point: Floats
    axis: Floats
    low: Floats
    high: Floats

    @property
    def length_mm(self) -> float:
        """Length of the stretch that was fitted."""
        return float(np.linalg.norm(self.high - self.low))


def shaft_axis(
    bone: BoneMesh,
    head: SphereFit,
    *,
    top_level_mm: float | None = None,
    shortest_mm: float = SHORTEST_MM,
) -> Shaft:
    """Axis through the middles of the shaft's sections.

    Parameters
    ----------
    top_level_mm
        Where the shaft begins, measured along the axis from the head's center; 3.4 head
        radii below it by default.
    shortest_mm
        Shortest stretch that will do.

    Raises
    ------
    DegenerateGeometryError
        Less of the shaft was scanned.
    """
    below = -BELOW_HEAD * head.radius if top_level_mm is None else top_level_mm
    axis = _first_axis(bone, head)
    piece = piece_of_head(bone, head)
    middles, point = np.empty((0, 3)), head.center
    for _ in range(ROUNDS):
        lowest = scanned_down_to(piece, head, axis)
        levels = np.arange(below, max(lowest, below - LENGTH_MM), -STEP_MM)
        if len(levels) * STEP_MM < shortest_mm:
            raise DegenerateGeometryError(
                "cannot find the shaft of the femur",
                found=f"bone down to {-lowest:.0f} mm below the head's center",
                needed=f"at least {shortest_mm - below:.0f} mm",
                next_step="Scan, or import, the femur farther down.",
            )
        stack = SectionStack.of(bone, head.center, axis)
        middles = np.array([_shaft_middle(stack, h) for h in levels])
        middles = middles[np.isfinite(middles).all(axis=1)]
        if len(middles) < 2:  # noqa: PLR2004 (two make a line)
            raise DegenerateGeometryError(
                "cannot find the shaft of the femur",
                found="no closed sections of it",
                needed="a shaft below the trochanters",
                next_step="Check the bone model below the trochanters.",
            )
        point, direction = fit_line(middles)
        before, axis = axis, direction * np.sign(direction @ axis)
        if np.linalg.norm(axis - before) < 1e-6:  # noqa: PLR2004 (far below what can be seen)
            break
    along = (middles - point) @ axis
    return Shaft(
        point=point,
        axis=axis,
        low=point + along.min() * axis,
        high=point + along.max() * axis,
    )


def piece_of_head(bone: BoneMesh, head: SphereFit) -> BoneMesh:
    """The connected piece of a femur that holds its head: its knee may be a block of its own."""
    pieces = face_pieces(bone.faces)
    if not pieces.any():
        return bone
    nearest = int(np.argmin(np.linalg.norm(bone.vertices - head.center, axis=1)))
    return bone.part(pieces == pieces[int(np.argmax((bone.faces == nearest).any(axis=1)))])


def scanned_down_to(piece: BoneMesh, head: SphereFit, axis: Floats) -> float:
    """Level of the lowest section that no lid of the scan cuts, of the piece with the head.

    Where the shaft leans in the scan its lid is oblique to it: a section through the lid is a
    part of one, and its middle lies centimeters beside the axis.
    """
    height = (piece.vertices - head.center) @ axis
    lowest = float(height.min())
    lid = (height < lowest + LID_HIGH_MM) & (piece.normals @ axis < LID_FACES)
    return float(height[lid].max(initial=lowest)) + LID_MM


def _first_axis(bone: BoneMesh, head: SphereFit) -> Floats:
    """Long direction of the bone far from the head where it is long, else upward."""
    away = np.linalg.norm(bone.vertices - head.center, axis=1)
    far = away > 3.0 * head.radius
    far &= away < 3.0 * head.radius + 200.0
    upright = np.array([0.0, 0.0, 1.0])
    if not far.any():
        return upright
    places = bone.vertices[far]
    weights = bone.areas_mm2[far]
    middle = np.average(places, axis=0, weights=weights)
    spread = np.cov((places - middle).T, aweights=weights)
    sizes, axes = np.linalg.eigh(spread)
    if sizes[2] < 4.0 * sizes[1]:  # a stub: as wide as long
        return upright
    longest = axes[:, 2]
    return longest * np.sign(longest @ (head.center - middle))


def _shaft_middle(stack: SectionStack, level: float) -> Floats:
    outlines = stack.at(level)
    return middle_of_outline(outlines[0], stack.axis) if outlines else np.full(3, np.nan)


def carried_on(
    bone: BoneMesh, head: SphereFit, shaft: Shaft, neck: Floats
) -> tuple[Floats, float]:
    """Long axis of a femur whose knee was not scanned, and its spread in degrees.

    The femur is bowed forward: the curve of the stretch of shaft that was scanned is carried
    on as an arc to where the knee of a femur of this size would be. A stretch too short
    to show its curve is taken to be bowed like an ordinary femur.

    Returns
    -------
    Unit direction upward, and one standard deviation of its lean.
    """
    axes = FemurAxes.of(shaft.axis, neck)
    stack = SectionStack.of(bone, head.center, shaft.axis)
    high = float((shaft.high - head.center) @ shaft.axis)
    levels = np.arange(high, high - shaft.length_mm - 0.5, -STEP_MM)
    middles = np.array([_shaft_middle(stack, level) for level in levels])
    there = np.isfinite(middles).all(axis=1)
    assumed = frame_fallbacks()
    if shaft.length_mm < CURVE_SHOWS_MM or not there.all():
        lean, sd_deg = np.radians(assumed["bow"].value_deg), assumed["bow"].sd_deg
    else:
        forward = (middles - head.center) @ axes.anterior
        fitted = cast("Floats", np.polyfit(levels - levels.mean(), forward, 2))
        curve, slope = float(fitted[0]), float(fitted[1])
        arm = (high + KNEE_LEVEL * head.radius) / 2.0 - float(levels.mean())
        lean, sd_deg = np.arctan(slope + 2.0 * curve * arm), assumed["carried_bow"].sd_deg
    up = np.cos(lean) * axes.up + np.sin(lean) * axes.anterior
    return up, sd_deg


def lying_axis(upright: Floats) -> Floats:
    """Long axis of a femur whose shaft was not scanned: as legs lie in a scan.

    Parameters
    ----------
    upright
        Unit direction up the table, where X is lateral.
    """
    lean = np.radians(frame_fallbacks()["table"].value_deg)
    outward = np.array([1.0, 0.0, 0.0])
    outward = outward - (outward @ upright) * upright
    return np.cos(lean) * upright + np.sin(lean) * outward / np.linalg.norm(outward)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurAxes:
    """Directions of a femur without its knee: up the shaft, along the neck, to the front.

    All are unit directions at right angles.
    """

    up: Floats
    lateral: Floats
    anterior: Floats

    @classmethod
    def of(cls, shaft: Floats, neck: Floats) -> FemurAxes:
        """Lateral is where the neck goes from the head, square to the shaft."""
        lateral = neck - (neck @ shaft) * shaft
        lateral /= np.linalg.norm(lateral)
        return cls(up=shaft, lateral=lateral, anterior=np.cross(shaft, lateral))


def lowest_middle(bone: BoneMesh, head: SphereFit, up: Floats) -> Floats:
    """Middle of the lowest whole section of a femur that was cut short, (3,); NaN without one."""
    stack = SectionStack.of(bone, head.center, up)
    return _shaft_middle(stack, scanned_down_to(piece_of_head(bone, head), head, up))


def lesser_trochanter(bone: BoneMesh, head: SphereFit, axes: FemurAxes) -> Floats | None:
    """Tip of the lesser trochanter: what stands out most, behind and medially, below the neck.

    Returns
    -------
    Its place (3,), or ``None`` where nothing stands out there or it was not scanned.
    """
    height = (bone.vertices - head.center) @ axes.up
    outward = POSTEROMEDIAL[1] * -axes.anterior - POSTEROMEDIAL[0] * axes.lateral
    stands = (bone.vertices - head.center) @ (outward / np.linalg.norm(outward))
    high, low = (share * head.radius for share in LESSER_LEVELS)
    beyond_head = np.linalg.norm(bone.vertices - head.center, axis=1) > HEAD_ENDS * head.radius
    edges = np.arange(low, high + BIN_MM, BIN_MM)
    best = _peaks(height, stands, edges, beyond_head)
    if not best:
        return None
    near = beyond_head & (np.abs(height - best[0]) <= 2.0 * BIN_MM)
    return bone.vertices[np.flatnonzero(near)[int(np.argmax(stands[near]))]]


def _peaks(at: Floats, value: Floats, edges: Floats, asked: NDArray[np.bool_]) -> list[float]:
    """Where the largest values by place stand out, the most prominent first.

    Places between ones that hold no vertex are bridged: meshes may have long triangles.
    """
    bins = np.digitize(at, edges) - 1
    inside = (bins >= 0) & (bins < len(edges) - 1) & asked
    profile = np.full(len(edges) - 1, -np.inf)
    np.maximum.at(profile, bins[inside], value[inside])
    there = np.flatnonzero(np.isfinite(profile))
    if len(there) < FEWEST_BINS:
        return []
    run: NDArray[np.int64] = np.arange(int(there[0]), int(there[-1]) + 1)
    bridged: Floats = np.interp(run, there, profile[there])
    peaks, found = find_peaks(bridged, prominence=PROMINENT_MM)
    order = np.argsort(-found["prominences"])
    return [float(edges[run[k]] + BIN_MM / 2.0) for k in peaks[order]]


def greater_trochanter(
    bone: BoneMesh, head: SphereFit, neck: Isthmus, axes: FemurAxes
) -> Floats | None:
    """Tip of the greater trochanter: highest bone beyond the neck, up the shaft's axis."""
    out = (bone.vertices - neck.middle) @ axes.lateral
    height = (bone.vertices - head.center) @ axes.up
    above = height > LESSER_LEVELS[1] * head.radius
    edges = np.arange(GREATER_FROM * head.radius, 3.0 * head.radius, BIN_MM)
    tips = [_highest(out, height, above, at) for at in _peaks(out, height, edges, above)]
    if tips:
        return bone.vertices[max(tips, key=lambda k: height[k])]
    beyond = above & (out > GREATER_BEYOND * head.radius)
    if not beyond.any():
        return None
    return bone.vertices[np.flatnonzero(beyond)[int(np.argmax(height[beyond]))]]


def _highest(out: Floats, height: Floats, above: NDArray[np.bool_], at: float) -> int:
    near = np.flatnonzero(above & (np.abs(out - at) <= 2.0 * BIN_MM))
    return int(near[int(np.argmax(height[near]))])
