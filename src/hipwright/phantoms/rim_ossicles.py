"""Separate bones at the rim: an ossified stretch of labrum, an os acetabuli."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from hipwright.phantoms.hip_bone_building import BuiltHipBone, without_voids
from hipwright.phantoms.implicit import (
    Ball,
    capsule_field,
    common,
    even_grid,
    joined,
    sample,
    surface_of,
)
from hipwright.phantoms.person_spec import HipSpec, RimOssicle
from hipwright.phantoms.surfaces import TriangleSurface

Floats = NDArray[np.float64]

_STEP_MM = 0.5
_SPARING_MM = 0.03
_CLEAR_OF_HEAD_MM = 1.0


def rim_ossicle(
    bone: BuiltHipBone, crest: Floats, crest_hours: Floats, spec: HipSpec, ossicle: RimOssicle
) -> TriangleSurface:
    """Return a curved bone beyond the rim, apart from rim and head.

    Parameters
    ----------
    bone
        The finished hip bone.
    crest, crest_hours
        Its rim, ``(n, 3)`` mm, and the hour of each point.
    spec
        The hip.
    ossicle
        From which hour to which, how thick and how far from the rim.
    """
    form = bone.form
    count = max(3, int(np.ceil((ossicle.last_hour - ossicle.first_hour) / 0.06)))
    hours = np.linspace(ossicle.first_hour, ossicle.last_hour, count)
    on_rim = np.stack(
        [np.interp(hours % 12.0, crest_hours, crest[:, k], period=12.0) for k in range(3)], axis=1
    )
    on_rim = gaussian_filter1d(on_rim, 4.0, axis=0, mode="nearest")
    thickness = ossicle.thickness_mm / 2 * (0.55 + 0.45 * np.sin(np.pi * np.linspace(0, 1, count)))
    outward = on_rim - form.center
    outward /= np.linalg.norm(outward, axis=1)[:, None]
    beyond = form.clock.axis + 0.15 * outward
    beyond /= np.linalg.norm(beyond, axis=1)[:, None]
    middle = on_rim + beyond * (ossicle.gap_mm + thickness)[:, None]
    grid = even_grid(middle, step=_STEP_MM, margin=ossicle.thickness_mm + 3.0)
    rods = [
        capsule_field(grid, middle[k], middle[k + 1], float((thickness[k] + thickness[k + 1]) / 2))
        for k in range(count - 1)
    ]
    points = grid.points()
    from_bone = sample(bone.field, bone.grid, points)
    head = form.center + np.asarray(spec.head_shift_mm)
    from_head = np.linalg.norm(points - head, axis=-1) - spec.head_radius_mm
    clear = np.maximum(ossicle.gap_mm - from_bone, _CLEAR_OF_HEAD_MM - from_head).astype(
        np.float32
    )
    body = common(joined(rods, 0.0), clear, 0.5)
    return surface_of(
        without_voids(body),
        grid,
        tolerance=_SPARING_MM,
        exact=Ball(center=form.center, radius=0.0),
    )
