"""A CT of any closed bones, as a volume of the domain, with the surfaces it was made from.

Materials are laid into voxels by their exact share along the slices' steps and by fine rays
across, then come the slice's profile, grain, metal, kernel, noise and calibration. Nothing
of it is a profile model: no edge is ever written as a formula of a blurred step.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from hipwright.domain.side import Side
from hipwright.domain.volume import Volume, VolumeGrid
from hipwright.phantoms import ct_surroundings
from hipwright.phantoms.attenuation import HOUNSFIELD, WATER
from hipwright.phantoms.ct_density import (
    bone_hu,
    cortex_waves,
    grain_tile,
    marrow_sites,
    marrow_surface,
    place_bone,
    thinned,
)
from hipwright.phantoms.ct_setup import Scan
from hipwright.phantoms.soft_tissue import Solid, body_envelope, bowel_gas, muscles
from hipwright.phantoms.surfaces import TriangleSurface
from hipwright.phantoms.voxel_filling import Voxels, VoxelSum

Floats = NDArray[np.float64]

SMALLEST_HU, LARGEST_HU = -1024, 3071
FRAME = "simulated"
"""What the frame of a simulated scan is fixed to."""

_SUBSLICES = 3
_AT_ONCE = 44


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patient:
    """Closed bones in ``patient_lps`` and where the heads are.

    Parameters
    ----------
    bones
        Outer surfaces by name: ``femur_left``, ``hip_bone_right``, ``sacrum`` and others.
    heads_mm, radii_mm
        Spheres of the femoral heads by side.
    inner
        Inner surfaces of bones that come with one; the others get theirs from the density.
    """

    bones: Mapping[str, TriangleSurface]
    heads_mm: Mapping[Side, Floats]
    radii_mm: Mapping[Side, float]
    inner: Mapping[str, TriangleSurface] | None = None

    @property
    def middle_mm(self) -> Floats:
        """Halfway between the heads."""
        return np.mean([np.asarray(h) for h in self.heads_mm.values()], axis=0)

    def turned(self, rotation: Floats) -> Patient:
        """The patient lying otherwise, turned about the middle of the heads."""
        middle = self.middle_mm
        shift = middle - rotation @ middle

        def moved(bones: Mapping[str, TriangleSurface]) -> dict[str, TriangleSurface]:
            return {name: bone.moved(rotation, shift) for name, bone in bones.items()}

        return Patient(
            bones=moved(self.bones),
            heads_mm={s: rotation @ h + shift for s, h in self.heads_mm.items()},
            radii_mm=self.radii_mm,
            inner=None if self.inner is None else moved(self.inner),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scanned:
    """A volume and the patient as they lay in it: the truth, in ``patient_lps``."""

    volume: Volume
    patient: Patient


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Bodies:
    """Everything that is laid into voxels, in ``patient_lps``."""

    solids: tuple[Solid, ...]
    outer: tuple[TriangleSurface, ...]
    inner: tuple[TriangleSurface, ...]
    metal: tuple[TriangleSurface, ...]

    def shifted(self, by: Floats) -> _Bodies:
        def moved(bodies: tuple[TriangleSurface, ...]) -> tuple[TriangleSurface, ...]:
            return tuple(body.moved(np.eye(3), by) for body in bodies)

        return _Bodies(
            solids=tuple(
                Solid(
                    name=s.name,
                    surface=s.surface.moved(np.eye(3), by),
                    contrast_per_mm=s.contrast_per_mm,
                )
                for s in self.solids
            ),
            outer=moved(self.outer),
            inner=moved(self.inner),
            metal=moved(self.metal),
        )


def scan(patient: Patient, setup: Scan, rng: np.random.Generator) -> Scanned:
    """Take a CT.

    Parameters
    ----------
    patient
        Bones in ``patient_lps``; the scan turns them as it says.
    setup
        Field, bones' density, kernel, noise and what else is there.
    rng
        Decides soft tissue, cortex, grain and noise.

    Returns
    -------
    Scanned
        The volume, and the patient as they lay in it.
    """
    lying = patient.turned(setup.rotation)
    grid = setup.block.grid(lying.middle_mm, FRAME)
    bodies = _bodies(patient, lying, setup, rng)
    values = np.empty(grid.shape, np.int16)
    painter = _Painter(lying, setup, grid, rng)
    moved = bodies.shifted(np.array(setup.shift_mm)) if any(setup.shift_mm) else bodies
    for first, last, has_moved in _slabs(grid, setup, lying.middle_mm):
        hu, metal = painter.slab(moved if has_moved else bodies, first, last)
        values[first:last] = painter.reconstructed(hu, metal, first)
    volume = Volume(
        values=values,
        grid=grid,
        kernel=setup.kernel,
        slice_thickness_mm=setup.block.thickness_mm or setup.block.spacing_mm,
    )
    return Scanned(volume=volume, patient=lying)


def _slabs(grid: VolumeGrid, setup: Scan, middle: Floats) -> Iterator[tuple[int, int, bool]]:
    """Blocks of slices, none across the moment at which the patient moved."""
    slices = grid.shape[0]
    heights = grid.origin_mm[2] + np.arange(slices) * grid.steps_mm[0, 2] - middle[2]
    has_moved = (heights >= setup.shift_at_mm) & bool(any(setup.shift_mm))
    first = 0
    while first < slices:
        last = first + 1
        while last < min(slices, first + _AT_ONCE) and has_moved[last] == has_moved[first]:
            last += 1
        yield first, last, bool(has_moved[first])
        first = last


def _bodies(patient: Patient, lying: Patient, setup: Scan, rng: np.random.Generator) -> _Bodies:
    """Lay soft tissue around the patient as they stand, then turn all of it."""
    heads, middle = patient.heads_mm, patient.middle_mm
    both = {s: heads.get(s, _other_head(patient, s)) for s in Side}
    down = np.array([0.0, 0.0, -1.0])
    shafts = dict.fromkeys(Side, down)
    solids: tuple[Solid, ...] = (
        *body_envelope(heads_mm=both, shafts=shafts, build=setup.build, rng=rng),
        *muscles(heads_mm=both, shafts=shafts, rng=rng),
        *bowel_gas(middle_mm=middle, rng=rng, amount=1.2),
        *ct_surroundings.contrast_solids(setup.contrast, heads, patient.radii_mm, rng),
    )
    shift = middle - setup.rotation @ middle
    solids = tuple(
        Solid(
            name=s.name,
            surface=s.surface.moved(setup.rotation, shift),
            contrast_per_mm=s.contrast_per_mm,
        )
        for s in solids
    )
    if setup.table:
        solids = (*solids, *ct_surroundings.table(lying.middle_mm, 3000.0))
    known = patient.inner or {}
    inner = [
        thinned(known[name], bone, setup.density, rng)
        if name in known
        else marrow_surface(name, bone, heads, patient.radii_mm, setup.density, rng)
        for name, bone in patient.bones.items()
    ]
    nail = next(iter(lying.heads_mm.values()))
    nail = lying.heads_mm.get(Side.LEFT, nail)
    return _Bodies(
        solids=solids,
        outer=tuple(lying.bones.values()),
        inner=tuple(bone.moved(setup.rotation, shift) for bone in inner),
        metal=tuple(ct_surroundings.screw_surface(s, nail) for s in setup.screws),
    )


def _other_head(patient: Patient, side: Side) -> Floats:
    known = next(iter(patient.heads_mm.values()))
    return known + np.array([176.0 if side is Side.LEFT else -176.0, 0.0, 0.0])


class _Painter:
    """Turns bodies into slices."""

    def __init__(
        self, lying: Patient, setup: Scan, grid: VolumeGrid, rng: np.random.Generator
    ) -> None:
        self._setup, self._grid, self._rng = setup, grid, rng
        thickness = setup.block.thickness_mm or setup.block.spacing_mm
        self._slices_wide = thickness / setup.block.spacing_mm
        self._sub = 1 if abs(self._slices_wide - 1.0) < 1e-6 else _SUBSLICES  # noqa: PLR2004 (equal)
        self._sites = marrow_sites(lying.bones, lying.heads_mm, setup.density)
        self._waves = cortex_waves(rng)
        spacing = grid.spacing_mm.copy()
        spacing[0] /= self._sub
        self._grain = grain_tile(spacing, setup.density, rng)
        self._phase = float(rng.uniform(0, 2 * np.pi))
        self._bias = self._slow_change(rng)
        still = np.random.default_rng(1).standard_normal(grid.shape[1:], dtype=np.float32)
        self._gain = setup.noise_hu / max(float(self._kernel(still).std()), 1e-9)

    def _kernel(self, picture: Voxels) -> Voxels:
        narrow = self._setup.blur_mm / self._setup.block.pixel_mm
        sharp: Voxels = np.asarray(gaussian_filter(picture, narrow, mode="nearest"), np.float32)
        if not self._setup.overshoot:
            return sharp
        soft: Voxels = np.asarray(
            gaussian_filter(picture, 3.0 * narrow, mode="nearest"), np.float32
        )
        return (sharp + np.float32(self._setup.overshoot) * (sharp - soft)).astype(np.float32)

    def _slow_change(self, rng: np.random.Generator) -> tuple[Floats, Floats, float]:
        phase = rng.uniform(0, 2 * np.pi, 3)
        turns = rng.uniform(0.4, 0.9, 3)
        return phase, turns, self._setup.bias

    def slab(self, bodies: _Bodies, first: int, last: int) -> tuple[Voxels, Voxels | None]:
        """HU of slices before the kernel, and the share of metal in them."""
        pad = int(np.ceil((self._slices_wide - 1.0) / 2)) if self._sub > 1 else 0
        low, high = first - pad, last + pad
        count = (high - low) * self._sub
        shape = (count, *self._grid.shape[1:])
        steps = self._grid.steps_mm.copy()
        steps[0] /= self._sub
        # the middle of the first subslice lies half a slice less half a subslice lower
        start = low - 0.5 + 0.5 / self._sub
        origin = self._grid.origin_mm + start * self._grid.steps_mm[0]
        total = _filled(
            ((s.surface, 1000.0 * s.contrast_per_mm / WATER) for s in bodies.solids),
            shape, origin, steps,
        )  # fmt: skip
        outer = _filled(((s, 1.0) for s in bodies.outer), shape, origin, steps)
        inner = _filled(((s, 1.0) for s in bodies.inner), shape, origin, steps)
        place_bone(
            total, outer, inner, origin, steps, bone_hu(self._setup.density),
            self._sites, self._waves, self._grain, low * self._sub,
        )  # fmt: skip
        metal = None
        if bodies.metal:
            metal = _filled(((s, 1.0) for s in bodies.metal), shape, origin, steps)
            total += np.float32(ct_surroundings.METAL_HU) * metal
            metal = self._profiled(metal, last - first, pad)
        return self._profiled(total, last - first, pad), metal

    def _profiled(self, fine: Voxels, slices: int, pad: int) -> Voxels:
        """Average subslices over each slice's thickness."""
        if self._sub == 1:
            return fine
        half = self._slices_wide / 2
        edges = np.arange(len(fine) + 1) / self._sub - pad - 0.5
        result = np.empty((slices, *fine.shape[1:]), np.float32)
        for k in range(slices):
            inside = np.clip(edges, k - half, k + half)
            weight = np.diff(inside) / (2 * half)
            used = np.flatnonzero(weight > 0)
            result[k] = np.tensordot(weight[used].astype(np.float32), fine[used], axes=(0, 0))
        return result

    def reconstructed(self, hu: Voxels, metal: Voxels | None, first: int) -> NDArray[np.int16]:
        """Add noise, apply kernel and calibration, and round."""
        result = np.empty(hu.shape, np.int16)
        air, setup = np.float32(HOUNSFIELD["air"]), self._setup
        for index in range(len(hu)):
            noise = self._rng.standard_normal(hu.shape[1:], dtype=np.float32)
            picture = self._kernel(hu[index] + np.float32(self._gain) * noise)
            if metal is not None:
                ct_surroundings.add_streaks(
                    picture, metal[index], setup.block.pixel_mm, self._phase
                )
            picture = picture + air
            if setup.bias or setup.hu_scale != 1.0:
                picture = picture * self._calibration(first + index, hu.shape[1:])
            result[index] = np.rint(np.clip(picture, SMALLEST_HU, LARGEST_HU))
        return result

    def _calibration(self, index: int, shape: tuple[int, ...]) -> Voxels:
        phase, turns, bias = self._bias
        axes = (np.array(index / self._grid.shape[0]), *(np.linspace(0, 1, n) for n in shape))
        z, y, x = (
            np.cos(2 * np.pi * turn * axis + p)
            for turn, axis, p in zip(turns, axes, phase, strict=True)
        )
        slow = (z + y[:, None] + x[None]) / 3.0
        return (self._setup.hu_scale * (1.0 + bias * slow)).astype(np.float32)


def _filled(
    bodies: Iterator[tuple[TriangleSurface, float]],
    shape: tuple[int, int, int],
    origin: Floats,
    steps: Floats,
) -> Voxels:
    """Weighted shares of bodies in the voxels of a grid that may be sheared or turned."""
    to_indices = np.linalg.inv(steps)[:, ::-1]  # columns, rows, slices
    turns_over = np.linalg.det(to_indices) < 0
    total = VoxelSum(shape, np.zeros(3), np.ones(3))
    for surface, weight in bodies:
        at = (surface.vertices - origin) @ to_indices
        faces = surface.faces[:, ::-1] if turns_over else surface.faces
        kept = at[:, 2][faces].max(axis=1) > -1.0
        total.add(TriangleSurface(vertices=at, faces=faces[kept]), weight)
    return total.finished()
