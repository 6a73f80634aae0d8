"""Signs of wear on a film besides a narrow joint space: dense subchondral bone and cysts.

Scenery for a film that teaches grading; nothing is measured on it.
"""

import numpy as np

from hipwright.domain.side import Side
from hipwright.phantoms.film_bodies import Bone, Part
from hipwright.phantoms.person_truth import HipTruth
from hipwright.phantoms.projection import Array
from hipwright.phantoms.soft_tissue import lump

_SCLEROSIS_DENSITY = 0.16
_CYST_DENSITY = -0.15  # of cortex: about what cancellous bone adds to soft tissue
_CYST_RIM_DENSITY = 0.10


def wear(hip: HipTruth, rng: np.random.Generator) -> tuple[Bone, ...]:
    """Give dense bone above and below the joint space and a few cysts with dense rims.

    Parameters
    ----------
    hip
        Where head and socket are.
    rng
        Lets places and sizes differ.
    """
    out = 1.0 if hip.side is Side.LEFT else -1.0
    socket, head = hip.pelvis.points["socket_center"], hip.head_center
    femur = Part.femur(hip.side)
    bones: list[Bone] = []

    def add(name: str, part: Part, at: Array, radius: float, flat: Array, density: float) -> None:
        surface = lump(
            start=at, end=at, radius_mm=radius, flatten=tuple(flat), roughness=0.12, rng=rng
        )
        bones.append(Bone(name=name, part=part, outer=surface, density=density, inside=True))

    def towards(center: Array, lean_deg: float, distance: float, back_mm: float = 0.0) -> Array:
        lean = np.radians(lean_deg)
        return (
            center + np.array([out * np.sin(lean), 0.0, np.cos(lean)]) * distance + (0, back_mm, 0)
        )

    roof, dome = hip.socket_radius_mm, hip.head_radius_mm
    for lean in (2.0, 14.0, 26.0):
        flat = np.array([1.2, 1.5, 0.62])
        place = towards(socket, lean, roof + 4.5)
        add("sclerosis of the roof", Part.PELVIS, place, 7.5, flat, _SCLEROSIS_DENSITY)
        place = towards(head, lean, dome - 5.0)
        add("sclerosis of the head", femur, place, 6.5, flat, 0.7 * _SCLEROSIS_DENSITY)
    cysts = (
        (Part.PELVIS, towards(socket, 20.0 + rng.normal(0, 2), roof + 7.5, -3.0), 3.6),
        (Part.PELVIS, towards(socket, 6.0 + rng.normal(0, 2), roof + 6.0, 4.0), 2.4),
        (femur, towards(head, 16.0 + rng.normal(0, 2), dome - 7.0, -2.0), 3.2),
    )
    for part, place, radius in cysts:
        even = np.array([1.0, 1.3, 1.1])
        add("rim of a cyst", part, place, radius + 1.1, even, _CYST_RIM_DENSITY)
        add("cyst", part, place, radius, even, _CYST_DENSITY - _CYST_RIM_DENSITY - 0.4)
    return tuple(bones)
