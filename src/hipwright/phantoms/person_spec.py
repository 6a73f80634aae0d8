"""What a person's hips are to be like: anatomy as numbers, for both sides apart."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from hipwright.domain.side import Side
from hipwright.phantoms.shape_model import DISTORTING_MODES


@dataclass(frozen=True, slots=True, kw_only=True)
class RimChange:
    """Rim growth (positive) or shortfall (negative) around an hour, degrees of the sphere."""

    hour: float
    half_extent_hours: float
    degrees: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bump:
    """Bone on the head–neck junction.

    Attributes
    ----------
    height_mm
        Over the sphere of the head, at its middle.
    onset_deg
        Angle from the neck axis at which the sphere is left, at the middle hour.
    hour, half_extent_hours
        Middle and half extent around the neck: 12 superior, 3 anterior.
    ramp_mm
        Over how many millimeters of the sphere the bump rises.
    """

    height_mm: float
    onset_deg: float
    hour: float
    half_extent_hours: float
    ramp_mm: float = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Resection:
    """A trough that a burr left along the head–neck junction.

    Attributes
    ----------
    hour, half_extent_hours
        Middle and half extent around the neck.
    onset_deg
        Angle from the neck axis up to which bone over the sphere is taken away.
    depth_mm
        How far the trough at the junction lies below what the bone was without bumps.
    """

    hour: float
    half_extent_hours: float
    onset_deg: float
    depth_mm: float = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class RimOssicle:
    """A separate bone at the rim, where the labrum was: from one hour to another."""

    first_hour: float
    last_hour: float
    thickness_mm: float
    gap_mm: float = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class HipSpec:
    """One hip. Defaults are an ordinary adult hip (common practice).

    Attributes
    ----------
    head_radius_mm, joint_gap_mm
        Radius of the head; radius of the socket less that of the head.
    head_shift_mm
        Head center from socket center: lateral, posterior, superior.
    lateral_center_edge_deg, roof_angle_deg
        To the ends of the sourcil, in the frontal plane through the head center.
    inclination_deg, anteversion_deg
        Axis of the socket: from straight down in the frontal plane; toward the front.
    version_deg, neck_shaft_deg
        Of the femur: neck axis to the posterior condyles; neck axis to the shaft.
    """

    head_radius_mm: float = 23.0
    joint_gap_mm: float = 3.6
    head_shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    lateral_center_edge_deg: float = 30.0
    roof_angle_deg: float = 5.0
    inclination_deg: float = 47.0
    anteversion_deg: float = 17.0
    rim_changes: tuple[RimChange, ...] = ()
    ossicles: tuple[RimOssicle, ...] = ()
    version_deg: float = 15.0
    neck_shaft_deg: float = 128.0
    junction_deg: float = 45.0
    bumps: tuple[Bump, ...] = ()
    resections: tuple[Resection, ...] = ()

    def __post_init__(self) -> None:
        ranges = {
            "head_radius_mm": (17.0, 32.0),
            "joint_gap_mm": (0.8, 6.0),
            "lateral_center_edge_deg": (5.0, 55.0),
            "roof_angle_deg": (-10.0, 25.0),
            "version_deg": (-15.0, 50.0),
            "neck_shaft_deg": (110.0, 150.0),
        }
        for name, (low, high) in ranges.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} must lie in {low} … {high}, not {value}")
        if sum(s * s for s in self.head_shift_mm) ** 0.5 >= self.joint_gap_mm:
            raise ValueError(
                f"the head, shifted by {self.head_shift_mm} mm, would touch the socket: "
                f"the gap is {self.joint_gap_mm} mm"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonSpec:
    """Both hips and the shape of the bones around them.

    Attributes
    ----------
    shape
        Weights of the shape model's modes, in standard deviations, counted from 1.
    pelvis_scale
        Size of the pelvis beyond what the head radius says.
    coccyx_curve_deg
        How far each piece of the coccyx turns forward from the one above.
    """

    left: HipSpec
    right: HipSpec
    shape: Mapping[int, float] = field(default_factory=lambda: MappingProxyType({}))
    pelvis_scale: float = 1.0
    symphysis_gap_mm: float = 4.0
    coccyx_curve_deg: float = 14.0

    def __post_init__(self) -> None:
        if distorting := sorted(DISTORTING_MODES & set(self.shape)):
            raise ValueError(f"modes {distorting} distort the pelvis: leave them out of the shape")

    def hip(self, side: Side) -> HipSpec:
        """The hip of a side."""
        return self.left if side is Side.LEFT else self.right

    def mirrored(self) -> "PersonSpec":
        """The same person seen in a mirror."""
        return PersonSpec(
            left=self.right,
            right=self.left,
            shape=self.shape,
            pelvis_scale=self.pelvis_scale,
            symphysis_gap_mm=self.symphysis_gap_mm,
            coccyx_curve_deg=self.coccyx_curve_deg,
        )
