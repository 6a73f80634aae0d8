"""What stands in the beam: bones with an outer and an inner surface, and plain solids.

A bone belongs to a moving part: the pelvis or one of the femora. Surfaces are
given in the person's own ``patient_lps`` frame, unposed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from hipwright.domain.side import Side
from hipwright.phantoms.projection import Array
from hipwright.phantoms.surfaces import TriangleSurface


class Part(Enum):
    """What a bone moves with."""

    PELVIS = "pelvis"
    FEMUR_LEFT = "femur_left"
    FEMUR_RIGHT = "femur_right"

    @classmethod
    def femur(cls, side: Side) -> "Part":
        """The femur of a side."""
        return cls.FEMUR_LEFT if side is Side.LEFT else cls.FEMUR_RIGHT

    @property
    def side(self) -> Side | None:
        """The side of a femur, ``None`` for the pelvis."""
        sides = {Part.FEMUR_LEFT: Side.LEFT, Part.FEMUR_RIGHT: Side.RIGHT}
        return sides.get(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bone:
    """A closed bone: cortex between the two surfaces, cancellous bone inside the inner.

    Without an inner surface the whole body is as dense as cortex times
    ``density`` (an ossicle, a calcified labrum). ``inside`` says that it lies
    within another bone (the scar of a growth plate).
    """

    name: str
    part: Part
    outer: TriangleSurface
    inner: TriangleSurface | None = None
    density: float = 1.0
    inside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Skeleton:
    """The bones of one person, with what posing and aiming need.

    Parameters
    ----------
    bones
        All bones in one ``patient_lps`` frame, legs neutral: shafts along z, knees forward.
    head_centers_mm, head_radii_mm
        Femoral heads, by side.
    """

    bones: tuple[Bone, ...]
    head_centers_mm: Mapping[Side, Array]
    head_radii_mm: Mapping[Side, float]

    @property
    def middle_of_heads_mm(self) -> Array:
        """Halfway between the centers of the femoral heads, shape (3,)."""
        return np.mean([self.head_centers_mm[side] for side in Side], axis=0)

    def of_part(self, part: Part) -> tuple[Bone, ...]:
        """The bones that move together."""
        return tuple(bone for bone in self.bones if bone.part is part)
