"""What the first half of a build knows of a volume: labels, heads, joint gaps, gray levels."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.anatomy import Bone, Remark, Severity
from hipwright.domain.errors import SegmentationError
from hipwright.domain.volume import LabelVolume

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class TissueLevels:
    """Gray levels of one scan, HU, and how much it blurs.

    Attributes
    ----------
    soft_hu, cortex_hu
        Soft tissue around the bones; thick cortex.
    noise_hu
        Standard deviation of the noise, as neighbors along a row tell it.
    threshold_hu
        Where the label step lets bone begin.
    blur_mm
        Standard deviation of the blur in the slice, seen where cortex is thick.
    slice_blur_mm
        The same along the slices (a box of width w has w / √12).
    overshoot
        Dip beside thick cortex as a share of the step: 0 for a plain kernel.
    """

    soft_hu: float
    cortex_hu: float
    noise_hu: float
    threshold_hu: float
    blur_mm: float
    slice_blur_mm: float
    overshoot: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A femoral head as rays from its inside see it, ``patient_lps``.

    Attributes
    ----------
    femur
        The femur it belongs to, which also names the side.
    center_mm, radius_mm, rms_mm
        Robust sphere through the head's edge and how far the edge lies from it.
    neck
        Unit vector from the center along the neck.
    inlier_share
        Share of the rays whose edge lies within 1 mm of the sphere.
    """

    femur: Bone
    center_mm: tuple[float, float, float]
    radius_mm: float
    rms_mm: float
    neck: tuple[float, float, float]
    inlier_share: float = 1.0

    @property
    def hip_bone(self) -> Bone:
        """The hip bone this head belongs to."""
        return hip_bone_beside(self.femur)


def hip_bone_beside(femur: Bone) -> Bone:
    """The hip bone on the side of a femur."""
    return Bone(femur.value.replace("femur", "hip_bone"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapSurface:
    """The middle of a hip's joint space as a height over the directions from the head center.

    Row i lies at the polar angle ``(i + 0.5) · π / rows`` from the pole, which points away from
    the neck; column j at the azimuth ``j · 2π / columns`` from ``axes[0]`` toward ``axes[1]``.

    Parameters
    ----------
    femur
        The femur within it.
    center_mm
        Where the directions start, ``patient_lps``, shape (3,).
    axes
        Shape (3, 3): unit rows at right angles, the last is the pole.
    radius_mm
        Shape (rows, columns).
    acts
        Same shape: where head and socket face each other. Elsewhere (the neck) it parts nothing.
    """

    femur: Bone
    center_mm: Floats
    axes: Floats
    radius_mm: Floats = field(repr=False)
    acts: Flags = field(repr=False)

    def __post_init__(self) -> None:
        shapes = (self.center_mm.shape, self.axes.shape, self.acts.shape)
        if shapes != ((3,), (3, 3), self.radius_mm.shape) or not np.isfinite(self.radius_mm).all():
            raise SegmentationError(
                "cannot use the joint gap",
                found=f"arrays of shape {shapes} with radii of shape {self.radius_mm.shape}",
                needed="a center (3), axes (3, 3) and finite radii with a flag each",
                next_step="Make the bone models again.",
            )
        for name in ("center_mm", "axes", "radius_mm", "acts"):
            array = np.array(getattr(self, name))
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    def radius_toward(self, points_mm: Floats) -> Floats:
        """Gap radius in the directions of points, (...,); infinite where it does not act.

        Between the directions of the grid it is interpolated; a point is acted on where all
        four directions around it are.
        """
        return gap_radius_toward(
            np.asarray(points_mm, dtype=np.float64) - self.center_mm,
            self.axes,
            self.radius_mm,
            self.acts,
        )

    def beyond_mm(self, points_mm: Floats) -> Floats:
        """Signed distance of points beyond the gap along their ray: negative on the femur's side.

        Minus infinity where the gap does not act.
        """
        from_center = np.asarray(points_mm, dtype=np.float64) - self.center_mm
        return np.linalg.norm(from_center, axis=-1) - self.radius_toward(points_mm)


def gap_radius_toward(from_center: Floats, axes: Floats, radius_mm: Floats, acts: Flags) -> Floats:
    """Interpolate a polar grid of radii; infinite where one of the four nodes does not act."""
    local = from_center @ axes.T
    rows, columns = radius_mm.shape
    away = np.maximum(np.linalg.norm(local, axis=-1), 1e-9)
    polar = np.arccos(np.clip(local[..., 2] / away, -1.0, 1.0)) * rows / math.pi - 0.5
    turn = np.arctan2(local[..., 1], local[..., 0]) % (2 * math.pi) * columns / (2 * math.pi)
    i0 = np.clip(np.floor(polar), 0, rows - 2).astype(np.intp)
    di = np.clip(polar - i0, 0.0, 1.0)
    whole = np.floor(turn).astype(np.intp)
    dj = turn - whole
    j0, j1 = whole % columns, (whole + 1) % columns
    corners = ((i0, j0), (i0, j1), (i0 + 1, j0), (i0 + 1, j1))
    shares = ((1 - di) * (1 - dj), (1 - di) * dj, di * (1 - dj), di * dj)
    radius = sum(w * radius_mm[at] for w, at in zip(shares, corners, strict=True))
    on = np.all([acts[at] for at in corners], axis=0)
    return np.where(on, radius, np.inf)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segmentation:
    """Labels of one volume with what the surface step needs to know.

    Parameters
    ----------
    labels
        A code of :class:`~hipwright.domain.anatomy.Bone` for each voxel, on the volume's grid.
    levels
        Gray levels and blur.
    heads, gaps
        One each for every hip in the field; none for a block at the knee or ankle.
    remarks
        What was noticed; a refusal names its bone.
    part
        Empty at the hip, ``knee`` or ``ankle`` for a block scanned apart: as in
        :class:`~hipwright.domain.anatomy.BoneModel`.
    cut_low, cut_high
        The bones that the lowest and the highest slice of the field cut through.
    """

    labels: LabelVolume
    levels: TissueLevels
    heads: tuple[Head, ...] = ()
    gaps: tuple[GapSurface, ...] = ()
    remarks: tuple[Remark, ...] = ()
    part: str = ""
    cut_low: frozenset[Bone] = frozenset()
    cut_high: frozenset[Bone] = frozenset()

    def head_of(self, bone: Bone) -> Head | None:
        """The head at a femur or hip bone, ``None`` where there is none."""
        return next((h for h in self.heads if bone in (h.femur, h.hip_bone)), None)

    def gap_of(self, bone: Bone) -> GapSurface | None:
        """The joint gap at a femur or hip bone, ``None`` where there is none."""
        return next((g for g in self.gaps if bone in (g.femur, hip_bone_beside(g.femur))), None)

    @property
    def bones(self) -> tuple[Bone, ...]:
        """The bones that have voxels, in the order of their codes."""
        counts = np.bincount(self.labels.codes.ravel(), minlength=len(Bone) + 1)
        return tuple(bone for bone in Bone if counts[bone.code])

    @property
    def refused(self) -> frozenset[Bone]:
        """The bones that a remark refuses; one without a bone refuses all."""
        refusals = [r for r in self.remarks if r.severity is Severity.REFUSAL]
        if any(r.bone is None for r in refusals):
            return frozenset(self.bones)
        return frozenset(r.bone for r in refusals if r.bone is not None)
