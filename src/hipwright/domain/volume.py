"""Volumes as they reach the engines: voxels on a grid that knows where it lies.

Arrays are (slices, rows, columns); places are in ``patient_lps`` (+left
+posterior +superior, mm). A grid may be turned or sheared (a tilted gantry):
nobody may suppose that rows run to the left or that slices run upward.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.errors import VolumeError
from hipwright.domain.frames import Frame, FrameKind

Floats = NDArray[np.float64]

_AXES = 3


class Modality(Enum):
    """What made the volume."""

    CT = "CT"
    MR = "MR"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VolumeGrid:
    """Where the voxels of a volume lie.

    Parameters
    ----------
    shape
        Slices, rows, columns.
    origin_mm
        Center of voxel (0, 0, 0) in ``patient_lps``, shape (3,).
    steps_mm
        Shape (3, 3): row k is the way in ``patient_lps`` from a voxel to the next one
        along array axis k (slice, row, column). Rows need not be orthogonal.
    fixed_to
        The frame of reference, so that volumes of two studies cannot be mixed.
    """

    shape: tuple[int, int, int]
    origin_mm: Floats
    steps_mm: Floats
    fixed_to: str

    def __post_init__(self) -> None:
        origin = np.array(self.origin_mm, dtype=np.float64)
        steps = np.array(self.steps_mm, dtype=np.float64)
        sound = origin.shape == (_AXES,) and steps.shape == (_AXES, _AXES)
        if not sound or not (np.isfinite(origin).all() and np.isfinite(steps).all()):
            raise VolumeError(
                "cannot place the volume",
                found=f"an origin of shape {origin.shape} and steps of shape {steps.shape}",
                needed="a finite origin (3) and steps (3, 3)",
                next_step="Import the series again.",
            )
        if len(self.shape) != _AXES or min(self.shape) < 1:
            raise VolumeError(
                "cannot place the volume",
                found=f"a shape of {self.shape}",
                needed="slices, rows and columns, at least one of each",
                next_step="Import the series again.",
            )
        if abs(float(np.linalg.det(steps))) < 1e-9:  # noqa: PLR2004 (mm³: slices on top of each other)
            raise VolumeError(
                "cannot place the volume",
                found="slices, rows or columns that lie on top of each other",
                needed="three directions that span space",
                next_step="Check the series for repeated slices.",
            )
        for name, array in (("origin_mm", origin), ("steps_mm", steps)):
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def frame(self) -> Frame:
        """The ``patient_lps`` frame the places are in."""
        return Frame(FrameKind.PATIENT_LPS, self.fixed_to)

    @property
    def spacing_mm(self) -> Floats:
        """Distance of neighbors along slices, rows and columns, shape (3,)."""
        return np.linalg.norm(self.steps_mm, axis=1)

    @property
    def voxel_mm3(self) -> float:
        """Volume of a voxel."""
        return abs(float(np.linalg.det(self.steps_mm)))

    def to_mm(self, indices: Floats) -> Floats:
        """Give the places of (slice, row, column) indices, whole or between; (..., 3)."""
        return self.origin_mm + np.asarray(indices, dtype=np.float64) @ self.steps_mm

    def to_indices(self, points_mm: Floats) -> Floats:
        """Give the (slice, row, column) indices of places, unrounded; (..., 3)."""
        from_origin = np.asarray(points_mm, dtype=np.float64) - self.origin_mm
        return from_origin @ np.linalg.inv(self.steps_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Volume:
    """One block of slices with even steps.

    Parameters
    ----------
    values
        int16, shape (slices, rows, columns); HU for CT.
    grid
        Where they lie.
    modality
        What made them.
    kernel
        The reconstruction kernel's name as the sender wrote it, empty where unknown.
    slice_thickness_mm
        Thickness of a slice where it was said, which may differ from their distance.
    notes
        What the reader of the files noticed.
    """

    values: NDArray[np.int16] = field(repr=False)
    grid: VolumeGrid
    modality: Modality = Modality.CT
    kernel: str = ""
    slice_thickness_mm: float | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.values.dtype != np.int16 or self.values.shape != self.grid.shape:
            raise VolumeError(
                "cannot use the volume",
                found=f"{self.values.dtype} of shape {self.values.shape}",
                needed=f"int16 of shape {self.grid.shape}",
                next_step="Import the series again.",
            )
        thickness = self.slice_thickness_mm
        if thickness is not None and not (math.isfinite(thickness) and thickness > 0):
            raise VolumeError(
                "cannot use the volume",
                found=f"slices {thickness} mm thick",
                needed="a positive thickness, or none",
                next_step="Import the series again.",
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabelVolume:
    """Which bone each voxel belongs to: uint8 codes of :class:`~hipwright.domain.anatomy.Bone`."""

    codes: NDArray[np.uint8] = field(repr=False)
    grid: VolumeGrid

    def __post_init__(self) -> None:
        if self.codes.dtype != np.uint8 or self.codes.shape != self.grid.shape:
            raise VolumeError(
                "cannot use the labels",
                found=f"{self.codes.dtype} of shape {self.codes.shape}",
                needed=f"uint8 of shape {self.grid.shape}",
                next_step="Make the bone models again.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A disc across which no two voxels belong to one bone: a reader parts two bones here.

    ``center_mm`` and the unit ``normal`` are in ``patient_lps``.
    """

    center_mm: tuple[float, float, float]
    normal: tuple[float, float, float]
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Seed:
    """A place that certainly belongs to a bone (or, code 0, to none), ``patient_lps``."""

    at_mm: tuple[float, float, float]
    code: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabelEdits:
    """What a reader changed by hand: the next run of the segmentation keeps it.

    Parameters
    ----------
    voxels
        Flat indices (C order) of painted voxels, rising, int64.
    codes
        The code painted at each, uint8; 0 is the eraser's.
    shape
        Shape of the volume they belong to.
    cuts, seeds
        Where bones are to be parted, and what is certain.
    """

    voxels: NDArray[np.int64] = field(repr=False)
    codes: NDArray[np.uint8] = field(repr=False)
    shape: tuple[int, int, int]
    cuts: tuple[Cut, ...] = ()
    seeds: tuple[Seed, ...] = ()

    def __post_init__(self) -> None:
        voxels = np.array(self.voxels, dtype=np.int64)
        codes = np.array(self.codes, dtype=np.uint8)
        rising = bool((np.diff(voxels) > 0).all())
        inside = not len(voxels) or (voxels[0] >= 0 and voxels[-1] < math.prod(self.shape))
        if voxels.shape != codes.shape or voxels.ndim != 1 or not rising or not inside:
            raise VolumeError(
                "cannot use the edits",
                found=f"{voxels.shape} voxels and {codes.shape} codes",
                needed=f"one code for each voxel of a volume of {self.shape}, in rising order",
                next_step="Save the edits again.",
            )
        for name, array in (("voxels", voxels), ("codes", codes)):
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @classmethod
    def none(cls, shape: tuple[int, int, int]) -> LabelEdits:
        """No edits yet."""
        return cls(voxels=np.empty(0, np.int64), codes=np.empty(0, np.uint8), shape=shape)

    @property
    def is_empty(self) -> bool:
        """Whether nothing was edited."""
        return not len(self.voxels) and not self.cuts and not self.seeds
