"""Trigonometry of hips in closed form: what analytic bones must measure.

The names T12 to T19, T29 and T45 are those of the reference's check values; every formula
was derived from its own definition and is checked against them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


def projected_neck_shaft_deg(neck_shaft_deg: float, version_deg: float) -> float:
    """Neck–shaft angle as an AP projection shows it with the condyles facing back (T12)."""
    tall = -math.cos(math.radians(neck_shaft_deg))
    wide = math.sin(math.radians(neck_shaft_deg)) * math.cos(math.radians(version_deg))
    return 90.0 + math.degrees(math.atan2(tall, wide))


def oblique_version_deg(neck_shaft_deg: float, version_deg: float) -> float:
    """Version as a slice along the neck shows it (T13)."""
    kappa, nu = math.radians(neck_shaft_deg), math.radians(version_deg)
    return math.degrees(math.asin(math.sin(kappa) * math.sin(nu)))


@dataclass(frozen=True, slots=True, kw_only=True)
class SocketAngles:
    """One direction out of a socket in the three ways of naming it, degrees (T14 to T17).

    Lateral, forward and downward parts of the direction are what the angles are made from;
    inclinations are counted from straight down.
    """

    lateral: float
    forward: float
    downward: float

    @classmethod
    def radiographic(cls, inclination_deg: float, anteversion_deg: float) -> SocketAngles:
        """By what an AP film shows."""
        i, a = math.radians(inclination_deg), math.radians(anteversion_deg)
        return cls(
            lateral=math.cos(a) * math.sin(i),
            forward=math.sin(a),
            downward=math.cos(a) * math.cos(i),
        )

    @classmethod
    def anatomical(cls, inclination_deg: float, anteversion_deg: float) -> SocketAngles:
        """By the axis itself and the axial slice."""
        i, a = math.radians(inclination_deg), math.radians(anteversion_deg)
        return cls(
            lateral=math.sin(i) * math.cos(a),
            forward=math.sin(i) * math.sin(a),
            downward=math.cos(i),
        )

    def tilted_forward(self, degrees: float) -> SocketAngles:
        """The same socket after the pelvis has tilted forward."""
        cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        return SocketAngles(
            lateral=self.lateral,
            forward=cos * self.forward - sin * self.downward,
            downward=cos * self.downward + sin * self.forward,
        )

    @property
    def radiographic_inclination_deg(self) -> float:
        """RI: between the axis projected on the frontal plane and straight down."""
        return math.degrees(math.atan2(self.lateral, self.downward))

    @property
    def radiographic_anteversion_deg(self) -> float:
        """RA: between the axis and the frontal plane."""
        return math.degrees(math.asin(self.forward))

    @property
    def anatomical_inclination_deg(self) -> float:
        """AI: between the axis and straight down."""
        return math.degrees(math.acos(self.downward))

    @property
    def anatomical_anteversion_deg(self) -> float:
        """AA: of the axis in the axial plane, from lateral."""
        return math.degrees(math.atan2(self.forward, self.lateral))

    @property
    def operative_inclination_deg(self) -> float:
        """OI: between the axis and the sagittal plane."""
        return math.degrees(math.asin(self.lateral))

    @property
    def operative_anteversion_deg(self) -> float:
        """OA: of the axis projected on the sagittal plane, from straight down."""
        return math.degrees(math.atan2(self.forward, self.downward))


def version_from_sectors_deg(anterior_deg: float, posterior_deg: float) -> float:
    """Version of a socket whose rims are equally far from the head's center (T18)."""
    return (posterior_deg - anterior_deg) / 2.0


def cap_share(half_angle_deg: float) -> float:
    """Share of a sphere under a round cap (T19)."""
    return (1.0 - math.cos(math.radians(half_angle_deg))) / 2.0


def cap_half_angle_deg(share: float) -> float:
    """Half angle of the round cap that covers a share of a sphere (T19)."""
    return math.degrees(math.acos(1.0 - 2.0 * share))


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoSphereBump:
    """A small ball that stands out of a large one (T29), mm.

    ``apart_mm`` is the distance of their centers.
    """

    head_radius_mm: float
    ball_radius_mm: float
    apart_mm: float

    @property
    def height_mm(self) -> float:
        """How far it stands out at its middle."""
        return self.apart_mm + self.ball_radius_mm - self.head_radius_mm

    @property
    def edge_half_angle_deg(self) -> float:
        """How far from its middle it ends, seen from the large ball's center."""
        return self.half_angle_at_deg(0.0)

    def half_angle_at_deg(self, height_mm: float) -> float:
        """How far from its middle it is that high; NaN above its height."""
        out, apart = self.head_radius_mm + height_mm, self.apart_mm
        cosine = (out**2 + apart**2 - self.ball_radius_mm**2) / (2.0 * out * apart)
        return math.degrees(math.acos(cosine)) if cosine <= 1.0 else math.nan

    @property
    def volume_mm3(self) -> float:
        """Volume that stands out: the small ball less what both have in common."""
        big, small, apart = self.head_radius_mm, self.ball_radius_mm, self.apart_mm
        common = (
            math.pi
            * (big + small - apart) ** 2
            * (apart**2 + 2 * apart * (big + small) - 3 * (big - small) ** 2)
            / (12.0 * apart)
        )
        return 4.0 / 3.0 * math.pi * small**3 - common
