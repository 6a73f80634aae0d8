"""Bones to scan and the scans of them, each a known variant: what studies and tests share.

The real bones are read where they lie and never copied; where they are absent the test that
asks for them is skipped.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
import trimesh

from hipwright.domain.side import Side
from hipwright.phantoms.ct_scanner import Patient, Scanned, scan
from hipwright.phantoms.ct_setup import (
    COARSE,
    LOW_DENSITY,
    Block,
    Contrast,
    Scan,
    Screw,
)
from hipwright.phantoms.surfaces import TriangleSurface
from tests.unit.phantoms.real_bones import head_of

BASE = Scan()
_ONE_HIP = Block(columns=256, rows=256, aside_mm=(-85.0, 0.0), from_mm=-90.0, to_mm=110.0)
_TIGHT = replace(_ONE_HIP, columns=170, rows=170, from_mm=-55.0, to_mm=55.0)
_SLICES_06 = replace(BASE.block, spacing_mm=0.6)
_SLICES_2 = replace(BASE.block, spacing_mm=2.0)

VARIANTS: Mapping[str, Scan] = MappingProxyType(
    {
        "base": BASE,
        "noise_60": replace(BASE, noise_hu=60.0),
        "slices_0.6": replace(BASE, block=_SLICES_06),
        "slices_2.0": replace(BASE, block=_SLICES_2),
        "slices_2.0_noise_60": replace(BASE, block=_SLICES_2, noise_hu=60.0),
        "thick_overlapping": replace(
            BASE, block=replace(BASE.block, spacing_mm=0.8, thickness_mm=1.25)
        ),
        "scale_0.85": replace(BASE, hu_scale=0.85),
        "scale_1.15": replace(BASE, hu_scale=1.15),
        "bias_15": replace(BASE, bias=0.15),
        "soft_kernel": replace(BASE, blur_mm=0.9, kernel="SOFT"),
        "sharp_kernel": replace(BASE, blur_mm=0.35, overshoot=0.6, noise_hu=45.0, kernel="SHARP"),
        "low_density": replace(BASE, density=LOW_DENSITY),
        "low_density_2.0_noise_60": replace(
            BASE, density=LOW_DENSITY, block=_SLICES_2, noise_hu=60.0
        ),
        "coarse_texture": replace(BASE, density=COARSE),
        "rotated": replace(BASE, turned_deg=(12.0, 8.0, 10.0)),
        "gantry_12": replace(BASE, block=replace(BASE.block, gantry_deg=12.0)),
        "feet_first": replace(BASE, block=replace(BASE.block, flipped=(True, False, False))),
        "turned_over": replace(BASE, block=replace(BASE.block, flipped=(False, True, True))),
        "vessel_contrast": replace(BASE, contrast=Contrast.VESSELS),
        "joint_contrast": replace(BASE, contrast=Contrast.JOINT),
        "screw": replace(
            BASE, screws=(Screw(start_mm=(-2.0, 2.0, 2.0), end_mm=(62.0, 14.0, -52.0)),)
        ),
        "motion": replace(BASE, shift_at_mm=4.0, shift_mm=(3.0, 2.0, 0.0)),
        "one_hip": replace(BASE, block=_ONE_HIP),
        "tight_one_hip": replace(BASE, block=_TIGHT),
        "slab_110": replace(BASE, block=replace(BASE.block, from_mm=-55.0, to_mm=55.0)),
        "slab_65": replace(BASE, block=replace(BASE.block, from_mm=-30.0, to_mm=35.0)),
        "whole_left_femur": replace(
            BASE,
            block=replace(_ONE_HIP, aside_mm=(75.0, 10.0), from_mm=-400.0, to_mm=90.0),
        ),
        "coarse_voxels": replace(
            BASE,
            block=replace(BASE.block, columns=256, rows=256, pixel_mm=1.4, spacing_mm=1.5),
        ),
        "small": replace(BASE, block=replace(_ONE_HIP, from_mm=-70.0, to_mm=70.0)),
        "small_soft": replace(
            BASE,
            blur_mm=0.9,
            kernel="SOFT",
            block=replace(_ONE_HIP, from_mm=-70.0, to_mm=70.0, spacing_mm=1.25),
        ),
    }
)
"""Scans of one and the same bones; ``small`` is the quickest that has a whole joint."""


def bones_folder() -> Path:
    """Where the real bones lie; skips the test where they do not."""
    folder = Path(os.environ.get("HIPWRIGHT_TEST_BONES", "../shared/data/bones"))
    if not (folder / "subject-a").is_dir():
        pytest.skip(f"the real bones are not at {folder} (set HIPWRIGHT_TEST_BONES)")
    return folder


@cache
def subject_a() -> Patient:
    """The bones of subject-a with the spheres of their heads, in the frame they came in."""
    bones: dict[str, TriangleSurface] = {}
    for path in sorted((bones_folder() / "subject-a").glob("*.stl")):
        mesh = trimesh.load_mesh(path)
        mesh.merge_vertices()
        surface = TriangleSurface(
            vertices=np.asarray(mesh.vertices), faces=np.asarray(mesh.faces, dtype=np.int32)
        )
        bones[path.stem.replace("-", "_")] = surface
    fits = {s: head_of(np.asarray(bones[f"femur_{s.value}"].vertices), s) for s in Side}
    return Patient(
        bones=bones,
        heads_mm={s: fits[s][0] for s in Side},
        radii_mm={s: fits[s][1] for s in Side},
    )


def subject_a_volume(variant: str = "base", seed: int = 20) -> Scanned:
    """A simulated CT of subject-a: one of :data:`VARIANTS`."""
    return scan(subject_a(), VARIANTS[variant], np.random.default_rng(seed))
