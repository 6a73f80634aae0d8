"""What else is in a CT: table, vessels and joints with contrast medium, screws, streaks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from trimesh.creation import box, capsule, icosphere  # pyright: ignore[reportUnknownVariableType] (trimesh has no types here)

from hipwright.domain.side import Side
from hipwright.phantoms import attenuation
from hipwright.phantoms.ct_setup import Contrast, Screw
from hipwright.phantoms.soft_tissue import Solid, lump
from hipwright.phantoms.surfaces import TriangleSurface
from hipwright.phantoms.voxel_filling import Voxels

Floats = NDArray[np.float64]

METAL_HU = 9000.0
STREAK_HU = 260.0
_VESSEL_HU = 280.0
_JOINT_HU = 550.0
_STREAKS = 9
_STREAK_REACH_MM = 45.0
_TABLE_BELOW_MM = 155.0


def per_mm(hu: float) -> float:
    """The contrast, per mm, that adds so many HU."""
    return hu * attenuation.WATER / 1000.0


def _surface(shape: Any, at: Floats | None = None) -> TriangleSurface:
    place = np.zeros(3) if at is None else at
    return TriangleSurface(
        vertices=np.array(shape.vertices) + place, faces=np.array(shape.faces, dtype=np.int32)
    )


def table(middle: Floats, length_mm: float) -> tuple[Solid, ...]:
    """A table of thin plate over foam."""
    place = middle + np.array([0.0, _TABLE_BELOW_MM, 0.0])
    shell, foam = 0.9 * attenuation.WATER, 0.1 * attenuation.WATER
    return (
        Solid(
            name="table",
            surface=_surface(box(extents=(430.0, 26.0, length_mm)), place),
            contrast_per_mm=shell,
        ),
        Solid(
            name="table foam",
            surface=_surface(box(extents=(427.0, 23.0, length_mm)), place),
            contrast_per_mm=foam - shell,
        ),
    )


def contrast_solids(
    contrast: Contrast,
    heads_mm: Mapping[Side, Floats],
    radii_mm: Mapping[Side, float],
    rng: np.random.Generator,
) -> tuple[Solid, ...]:
    """Contrast medium in vessels and bladder, or in the joints."""
    found: list[Solid] = []
    for side, head in heads_mm.items():
        out = np.array([1.0 if side is Side.LEFT else -1.0, 1.0, 1.0])
        if contrast is Contrast.VESSELS:
            for start, end, radius in (
                ((-34.0, -22.0, 90.0), (-8.0, -36.0, 8.0), 4.5),
                ((-8.0, -36.0, 8.0), (0.0, -40.0, -160.0), 4.0),
                ((-44.0, -14.0, 90.0), (-18.0, -32.0, 8.0), 5.5),
                ((-18.0, -32.0, 8.0), (-10.0, -36.0, -160.0), 5.0),
                ((-38.0, 20.0, 70.0), (-36.0, 10.0, -10.0), 2.5),
            ):
                surface = lump(
                    start=head + out * np.array(start),
                    end=head + out * np.array(end),
                    radius_mm=radius,
                    roughness=0.04,
                    rng=rng,
                )
                found.append(
                    Solid(name="vessel", surface=surface, contrast_per_mm=per_mm(_VESSEL_HU))
                )
        if contrast is Contrast.JOINT:
            fluid: Any = icosphere(subdivisions=4, radius=radii_mm[side] + 1.2)
            found.append(
                Solid(
                    name="joint",
                    surface=_surface(fluid, np.asarray(head)),
                    contrast_per_mm=per_mm(_JOINT_HU),
                )
            )
    return tuple(found)


def screw_surface(screw: Screw, at_mm: Floats) -> TriangleSurface:
    """The rod of a screw with round ends."""
    start, end = at_mm + np.array(screw.start_mm), at_mm + np.array(screw.end_mm)
    length = float(np.linalg.norm(end - start))
    shape: Any = capsule(height=length, radius=screw.radius_mm, count=(24, 24))
    along = (end - start) / length
    other = np.eye(3)[int(np.abs(along).argmin())]
    one = np.real(np.cross(along, other))  # real already; the stubs do not know
    one /= np.linalg.norm(one)
    turned = np.stack([one, np.real(np.cross(along, one)), along], axis=1)
    vertices = np.array(shape.vertices)
    vertices[:, 2] -= vertices[:, 2].min() + screw.radius_mm  # from its own start along z
    return TriangleSurface(
        vertices=vertices @ turned.T + start, faces=np.array(shape.faces, dtype=np.int32)
    )


def add_streaks(picture: Voxels, metal: Voxels, pixel_mm: float, phase: float) -> None:
    """Add the bright and dark rays that metal throws across its slice; in place."""
    amount = float(metal.sum())
    if amount <= 0.0:
        return
    rows: Floats = np.arange(picture.shape[0], dtype=np.float64)[:, None]
    columns: Floats = np.arange(picture.shape[1], dtype=np.float64)[None, :]
    weight = metal / amount
    y = (rows - float((weight * rows).sum())) * pixel_mm
    x = (columns - float((weight * columns).sum())) * pixel_mm
    away = np.hypot(x, y)
    fan = np.cos(_STREAKS * np.arctan2(y, x) + phase) * np.exp(-away / _STREAK_REACH_MM)
    near = 1.0 - np.exp(-((away / 4.0) ** 2))
    strength = STREAK_HU * min(1.0, np.sqrt(amount) * pixel_mm / 6.0)
    picture += (strength * fan * near).astype(np.float32)
