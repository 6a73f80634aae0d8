"""What is known about a built person without measuring a film of them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.side import Side

Floats = NDArray[np.float64]

_MIRROR = np.array([-1.0, 1.0, 1.0])


def _frozen(values: Mapping[str, Floats]) -> Mapping[str, Floats]:
    kept: dict[str, Floats] = {}
    for name, value in values.items():
        array = np.array(value, dtype=np.float64)
        array.flags.writeable = False
        kept[name] = array
    return MappingProxyType(kept)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartTruth:
    """Points ``(3,)`` and curves ``(n, 3)`` of one bone, mm."""

    points: Mapping[str, Floats]
    curves: Mapping[str, Floats]

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", _frozen(self.points))
        object.__setattr__(self, "curves", _frozen(self.curves))

    def moved(self, rotation: Floats, translation: Floats) -> "PartTruth":
        """Rotated, then shifted."""
        return PartTruth(
            points={k: rotation @ p + translation for k, p in self.points.items()},
            curves={k: c @ rotation.T + translation for k, c in self.curves.items()},
        )

    def mirrored(self) -> "PartTruth":
        """Reflected in the plane x = 0."""
        return PartTruth(
            points={k: p * _MIRROR for k, p in self.points.items()},
            curves={k: c * _MIRROR for k, c in self.curves.items()},
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HipTruth:
    """One hip. Names of points and curves follow the catalog's landmarks where there is one.

    Attributes
    ----------
    side
        Of the patient.
    pelvis, femur
        Points and curves that move with the hip bone and with the femur.
    head_radius_mm, socket_radius_mm
        Spheres of femoral head and socket.
    lateral_center_edge_deg, roof_angle_deg
        In the frontal plane through the head center, to the ends of the sourcil.
    rim_center_edge_deg
        To the most lateral point of the bony rim, seen from the front.
    version_deg, neck_shaft_deg
        Of the femur in space: to the middle of the narrowest neck, the back of the
        condyles, the shaft below the lesser trochanter.
    departure_deg
        By departure in mm: the angle from the neck axis at which the contour leaves
        the head's sphere by that much, one for each of ``departure_hours``; NaN where
        it does not between 110 and 30 degrees.
    departure_hours
        Hours around the neck: 12 superior, 3 anterior.
    smallest_gap_mm
        Smallest distance from the head's sphere to the articular surface of the socket.
    """

    side: Side
    pelvis: PartTruth
    femur: PartTruth
    head_radius_mm: float
    socket_radius_mm: float
    lateral_center_edge_deg: float
    roof_angle_deg: float
    rim_center_edge_deg: float
    version_deg: float
    neck_shaft_deg: float
    departure_deg: Mapping[float, Floats]
    departure_hours: Floats
    smallest_gap_mm: float

    @property
    def head_center(self) -> Floats:
        """Center of the femoral head, mm, shape (3,)."""
        return self.femur.points["femoral_head_center"]

    def placed(self, translation: Floats) -> "HipTruth":
        """The whole hip shifted, mm."""
        still = np.eye(3)
        return replace(
            self,
            pelvis=self.pelvis.moved(still, translation),
            femur=self.femur.moved(still, translation),
        )

    def mirrored(self) -> "HipTruth":
        """The same hip on the other side."""
        return replace(
            self,
            side=self.side.opposite,
            pelvis=self.pelvis.mirrored(),
            femur=self.femur.mirrored(),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PersonTruth:
    """Both hips and the midline of one person, ``patient_lps``, mm."""

    left: HipTruth
    right: HipTruth
    midline: PartTruth

    def hip(self, side: Side) -> HipTruth:
        """The hip of a side."""
        return self.left if side is Side.LEFT else self.right
