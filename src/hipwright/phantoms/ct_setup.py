"""Everything that decides how a simulated CT comes out, each thing chosen apart."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.volume import VolumeGrid
from hipwright.phantoms.film_setup import turn
from hipwright.phantoms.soft_tissue import Build

Floats = NDArray[np.float64]


class Contrast(Enum):
    """Where contrast medium is."""

    NONE = "none"
    VESSELS = "vessels"
    JOINT = "joint"


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """The block of slices, placed against the middle of the heads (or one head), mm.

    Parameters
    ----------
    columns, rows, pixel_mm
        The slice.
    from_mm, to_mm
        Lowest and highest place.
    spacing_mm, thickness_mm
        Distance of slices and their thickness, which may differ.
    aside_mm
        Middle of the slice against the middle of the heads: left, posterior.
    gantry_deg
        Tilt of the gantry: the slices lean, their steps stay along the table.
    flipped
        Whether slices, rows, columns run the other way than upward, backward, leftward.
    """

    columns: int = 512
    rows: int = 512
    pixel_mm: float = 0.7
    from_mm: float = -120.0
    to_mm: float = 180.0
    spacing_mm: float = 1.0
    thickness_mm: float | None = None
    aside_mm: tuple[float, float] = (0.0, 0.0)
    gantry_deg: float = 0.0
    flipped: tuple[bool, bool, bool] = (False, False, False)

    def grid(self, middle_mm: Floats, fixed_to: str) -> VolumeGrid:
        """Where the voxels lie."""
        slices = max(1, round((self.to_mm - self.from_mm) / self.spacing_mm))
        lean = np.radians(self.gantry_deg)
        column = np.array([1.0, 0.0, 0.0]) * self.pixel_mm
        row = np.array([0.0, np.cos(lean), -np.sin(lean)]) * self.pixel_mm
        steps = np.array([[0.0, 0.0, self.spacing_mm], row, column])
        shape = (slices, self.rows, self.columns)
        first = middle_mm + np.array([*self.aside_mm, self.from_mm + self.spacing_mm / 2])
        origin = first - (self.rows - 1) / 2 * row - (self.columns - 1) / 2 * column
        for axis, flip in enumerate(self.flipped):
            if flip:
                origin = origin + (shape[axis] - 1) * steps[axis]
                steps[axis] = -steps[axis]
        return VolumeGrid(shape=shape, origin_mm=origin, steps_mm=steps, fixed_to=fixed_to)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneDensity:
    """Cortex and cancellous bone.

    Parameters
    ----------
    cortex_hu, cortex_hu_spread
        Of compact bone; how much it varies from place to place, one standard deviation
        as a share.
    thickness, thickness_spread
        Factor on the ordinary thickness of the cortex; its variation, as a share.
    joint_mm
        Thickness of the plate under cartilage.
    spongy_hu, head_hu, shaft_hu
        Cancellous bone of the metaphyses and the pelvis, of the heads, and the marrow of
        the shafts.
    texture_hu, texture_mm
        Spread of the cancellous bone's grain and its size.
    """

    cortex_hu: float = 1380.0
    cortex_hu_spread: float = 0.08
    thickness: float = 1.0
    thickness_spread: float = 0.2
    joint_mm: float = 1.0
    spongy_hu: float = 190.0
    head_hu: float = 430.0
    shaft_hu: float = -30.0
    texture_hu: float = 40.0
    texture_mm: float = 0.9


ORDINARY = BoneDensity()
LOW_DENSITY = BoneDensity(
    cortex_hu=1220.0, thickness=0.62, joint_mm=0.75, spongy_hu=90.0, head_hu=150.0, shaft_hu=-60.0
)
COARSE = BoneDensity(texture_hu=90.0, texture_mm=1.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Screw:
    """A metal rod, ``patient_lps`` relative to a bone's head, mm."""

    start_mm: tuple[float, float, float]
    end_mm: tuple[float, float, float]
    radius_mm: float = 3.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One scan.

    Parameters
    ----------
    block
        The block of slices.
    density
        The bones.
    blur_mm, overshoot
        Width of the reconstruction kernel in the slice and how far it overshoots at edges.
    noise_hu
        Standard deviation of the finished slices' noise.
    bias
        Slow change of intensity over the volume, as a share each way.
    hu_scale
        Factor on all HU (a wrongly calibrated scanner).
    contrast, table
        Contrast medium; a table under the body.
    screws
        Metal, against the left head.
    shift_at_mm, shift_mm
        From that height over the heads upward the patient lay elsewhere by that.
    turned_deg
        How the patient lies: turns about left, posterior and superior axes.
    kernel
        What the sender calls the kernel.
    """

    block: Block = Block()
    density: BoneDensity = ORDINARY
    blur_mm: float = 0.5
    overshoot: float = 0.0
    noise_hu: float = 25.0
    bias: float = 0.0
    hu_scale: float = 1.0
    contrast: Contrast = Contrast.NONE
    table: bool = True
    screws: tuple[Screw, ...] = ()
    shift_at_mm: float = 0.0
    shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turned_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)
    kernel: str = "MEDIUM"
    build: Build = field(default_factory=Build)

    @property
    def rotation(self) -> Floats:
        """How the patient is turned, (3, 3)."""
        x, y, z = self.turned_deg
        return turn(2, z) @ turn(1, y) @ turn(0, x)
