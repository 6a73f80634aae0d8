"""From a built person to what stands in the beam, scars of the growth plates included."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
from trimesh.creation import icosphere  # pyright: ignore[reportUnknownVariableType] (trimesh has no types here)

from hipwright.domain.side import Side
from hipwright.phantoms.film_arthritis import wear
from hipwright.phantoms.film_bodies import Bone, Part, Skeleton
from hipwright.phantoms.people import Person
from hipwright.phantoms.person_truth import HipTruth
from hipwright.phantoms.projection import Array
from hipwright.phantoms.sacral_detail import sacral_detail
from hipwright.phantoms.surfaces import TriangleSurface

OSSICLE_DENSITY = 0.55
COCCYX_DENSITY = 0.28
"""Share of cortex in small bones that come without an inner surface (judgment)."""

SCAR_DENSITY = 0.09
SCAR_SLOPE_DEG = 17.0
"""How steeply the scar rises to the side in the frontal plane of the leg (judgment)."""

DEFAULT_SCARS: Mapping[Side, float] = MappingProxyType(dict.fromkeys(Side, SCAR_SLOPE_DEG))

_SCAR_SHARE_OF_HEAD = 0.80
_SCAR_HALF_THICKNESS_MM = 0.55
_SCAR_BOWL_MM = 2.2
_SCAR_DISTAL_SHARE = 0.14
_STRAIGHT_SHARE = 1.0 / 3.0


def _scar_axes(hip: HipTruth, slope_deg: float) -> tuple[Array, Array, Array, Array]:
    """Give the middle of the scar, its direction to the side, to the front, and its normal."""
    outward = 1.0 if hip.side is Side.LEFT else -1.0
    neck = hip.femur.points["neck_isthmus"] - hip.head_center
    version = np.arctan2(neck[1], outward * neck[0])  # the neck runs back to the shaft
    slope = np.radians(slope_deg)
    lateral = np.array(
        [
            outward * np.cos(version) * np.cos(slope),
            np.sin(version) * np.cos(slope),
            np.sin(slope),
        ]
    )
    front = np.array([outward * np.sin(version), -np.cos(version), 0.0])
    normal = np.cross(lateral, front)
    normal = normal * np.sign(normal[2])
    middle = hip.head_center + _SCAR_DISTAL_SHARE * hip.head_radius_mm * neck / np.linalg.norm(
        neck
    )
    return middle, lateral, front, normal


def physeal_scar_ends_mm(hip: HipTruth, slope_deg: float) -> tuple[Array, Array]:
    """Give the medial and lateral end of the straight third of the scar, on the unposed femur."""
    middle, lateral, _, _ = _scar_axes(hip, slope_deg)
    reach = _STRAIGHT_SHARE * _SCAR_SHARE_OF_HEAD * hip.head_radius_mm
    return middle - reach * lateral, middle + reach * lateral


def physeal_scar(hip: HipTruth, slope_deg: float) -> Bone:
    """Give the scar as a thin bowl, flat in its middle."""
    middle, lateral, front, normal = _scar_axes(hip, slope_deg)
    ball: Any = icosphere(subdivisions=4, radius=1.0)
    unit = np.asarray(ball.vertices, dtype=np.float64)
    reach = _SCAR_SHARE_OF_HEAD * hip.head_radius_mm
    out = np.hypot(unit[:, 0], unit[:, 1])
    height = _SCAR_HALF_THICKNESS_MM * unit[:, 2] - _SCAR_BOWL_MM * out**4
    vertices = (
        middle + reach * (unit[:, :1] * lateral + unit[:, 1:2] * front) + height[:, None] * normal
    )
    surface = TriangleSurface(vertices=vertices, faces=np.asarray(ball.faces, dtype=np.int32))
    if surface.volume_mm3 < 0:
        surface = TriangleSurface(vertices=vertices, faces=surface.faces[:, ::-1])
    return Bone(
        name=f"physeal_scar_{hip.side}",
        part=Part.femur(hip.side),
        outer=surface,
        density=SCAR_DENSITY,
        inside=True,
    )


def skeleton_of(
    person: Person,
    *,
    scar_slopes_deg: Mapping[Side, float] = DEFAULT_SCARS,
    worn: tuple[Side, ...] = (),
) -> Skeleton:
    """Give a person's bones for films and volumes.

    Parameters
    ----------
    person
        As built.
    scar_slopes_deg
        Slope of the growth-plate scar by side; a side left out has none to see.
    worn
        Sides with dense subchondral bone and cysts.
    """
    bones: list[Bone] = []
    for bone in person.bones.values():
        part = Part.PELVIS if bone.femur_of is None else Part.femur(bone.femur_of)
        density = 1.0
        if bone.inner is None:
            density = COCCYX_DENSITY if bone.name == "coccyx" else OSSICLE_DENSITY
        bones.append(
            Bone(name=bone.name, part=part, outer=bone.outer, inner=bone.inner, density=density)
        )
    bones += [physeal_scar(person.truth.hip(side), s) for side, s in scar_slopes_deg.items()]
    for side in worn:
        bones += wear(person.truth.hip(side), np.random.default_rng(len(bones)))
    if "sacrum" in person.bones:
        smooth = person.bones["sacrum"].outer
        bones += sacral_detail(smooth, np.random.default_rng(len(smooth.vertices)))
    return Skeleton(
        bones=tuple(bones),
        head_centers_mm={side: person.truth.hip(side).head_center for side in Side},
        head_radii_mm={side: person.truth.hip(side).head_radius_mm for side in Side},
    )
