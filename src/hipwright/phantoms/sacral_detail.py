"""Foramina and spinous crest of a sacrum whose surface is smooth; scenery, never measured."""

import numpy as np

from hipwright.phantoms.film_bodies import Bone, Part
from hipwright.phantoms.projection import Array
from hipwright.phantoms.soft_tissue import lump
from hipwright.phantoms.surfaces import TriangleSurface

_LEVELS = (0.22, 0.40, 0.57, 0.72)  # shares of the height, from the top (judgment)
_SPREAD = (0.36, 0.33, 0.30, 0.28)  # from the midline, share of the half width of S1
_RADIUS_MM = (7.0, 6.2, 5.2, 4.4)
_ROUND_MM = 3.5
_HOLE_DENSITY = -0.20  # of cortex: takes cancellous bone and some of both cortices away
_RING_DENSITY = 0.055
_CREST_DENSITY = 0.16


def _depths(points: Array, x: float, z: float) -> tuple[float, float] | None:
    near = points[np.hypot(points[:, 0] - x, points[:, 2] - z) < _ROUND_MM]
    return (float(near[:, 1].min()), float(near[:, 1].max())) if len(near) else None


def sacral_detail(sacrum: TriangleSurface, rng: np.random.Generator) -> tuple[Bone, ...]:
    """Give tunnels through the sacrum, their rims, and the bumps of the crest.

    Parameters
    ----------
    sacrum
        Outer surface in ``patient_lps``.
    rng
        Lets the tunnels differ a little.
    """
    points = sacrum.vertices
    low, high = points[:, 2].min(), points[:, 2].max()
    half = float(np.abs(points[:, 0]).max())
    bones: list[Bone] = []
    rows = zip(_LEVELS, _SPREAD, _RADIUS_MM, strict=True)
    for number, (level, spread, radius) in enumerate(rows, start=1):
        z = float(high - level * (high - low))
        for sign in (-1.0, 1.0):
            x = sign * half * spread + rng.normal(0, 0.8)
            depths = _depths(points, x, z + rng.normal(0, 0.8))
            if depths is None:
                continue
            front, back = np.array([x, depths[0], z]), np.array([x, depths[1], z + 2.0])
            for radius_mm, density in ((radius, _RING_DENSITY), (0.8 * radius, _HOLE_DENSITY)):
                tunnel = lump(
                    start=front,
                    end=back,
                    radius_mm=radius_mm,
                    flatten=(1.3, 0.3, 0.75),
                    roughness=0.2,
                    rng=rng,
                )
                bones.append(
                    Bone(
                        name=f"sacral foramen {number}",
                        part=Part.PELVIS,
                        outer=tunnel,
                        density=density,
                        inside=True,
                    )
                )
        depths = _depths(points, 0.0, z + 8.0)
        if depths is not None:
            top = np.array([0.0, depths[1] - 1.0, z + 12.0])
            crest = lump(
                start=top,
                end=top + np.array([0.0, 1.0, -9.0]),
                radius_mm=3.4,
                flatten=(0.8, 1.3, 1.0),
                rng=rng,
            )
            bones.append(
                Bone(
                    name=f"sacral crest {number}",
                    part=Part.PELVIS,
                    outer=crest,
                    density=_CREST_DENSITY,
                    inside=True,
                )
            )
    return tuple(bones)
