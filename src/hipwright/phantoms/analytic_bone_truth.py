"""What an analytic hip must measure, from its own numbers.

Closed forms where there are some, otherwise sums over the exact rim or the exact field, so
fine that their own error does not show (below 0.01° and 0.02 %). No mesh and no engine.

Names of the femur: ``head_radius_mm``; ``neck_axis``, ``clock_up``, ``shaft_axis``,
``shaft_point`` (3,); ``hours`` (every 15° around the neck), ``alpha_deg``,
``alpha_half_mm_deg``, ``alpha_one_mm_deg``, ``alpha_two_mm_deg`` by hour (departure from
the sphere by 0, 0.5, 1, 2 mm); ``alpha_max_deg``, ``alpha_max_hour``; ``omega_55_deg`` and
``omega_60_deg`` (extent around the neck where alpha exceeds that; with ``_half_mm`` before
``_deg`` where the outline 0.5 mm off the sphere does); ``neck_height_mm`` and
``head_neck_offset_mm`` by hour; ``neck_shaft_deg``, ``projected_neck_shaft_deg``;
``version_deg`` (neck's own axis), ``murphy_version_deg``, ``oblique_version_deg``;
``cam_height_mm``, ``cam_volume_mm3`` (bone over the sphere that is no neck).

Names of the socket: ``socket_center``, ``socket_radius_mm``, ``opening``,
``rim_plane_normal`` (best plane of the crest without the notch); ``anatomical_``,
``radiographic_`` and ``operative_`` ``inclination_deg`` and ``anteversion_deg``;
``rim_hours`` (n,), ``rim`` (n, 3), ``rim_angle_deg`` (from the inward pole, seen from the
head's center); ``notch_hours`` (2,); ``lateral_center_edge_deg``,
``anterior_center_edge_deg``; ``azimuth_deg`` and ``center_edge_deg`` (in upright planes
turned from lateral toward anterior); ``version_heights_mm`` and ``version_at_height_deg``;
``version_hours`` and ``version_at_hour_deg`` (in the level of the anterior rim's hour);
``anterior_sector_deg``, ``posterior_sector_deg``, ``horizontal_sector_deg``;
``coverage_percent`` (of the whole sphere), ``coverage_quadrants_percent`` (of each quarter
sphere: 12–3, 3–6, 6–9, 9–12 o'clock); ``roof_inclination_deg``; ``smallest_gap_mm``;
``aiis_to_rim_mm``.

Of both: ``ischiofemoral_mm`` (between the round end of the ischium and that of the lesser
trochanter).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.analytic_bone_femur import FemurForm
from hipwright.phantoms.analytic_bone_socket import SocketForm
from hipwright.phantoms.closed_forms import oblique_version_deg, projected_neck_shaft_deg

Floats = NDArray[np.float64]
Truth = dict[str, Any]

HOURS = np.arange(0.0, 12.0, 0.5)
_FINE_HOURS = np.arange(0.0, 12.0, 0.05)
_DEGREES_PER_HOUR = 30.0
_STEP_DEG = 0.5
_TALLEST_MM = 12.0
_HALVINGS = 30
_HEIGHTS_MM = np.array([0.0, 5.0, 10.0, 15.0, 18.0])
_VERSION_HOURS = np.array([1.0, 2.0, 3.0])
_QUARTERS = 4
_PERCENT = 100.0


def truth_of(femur: FemurForm, socket: SocketForm, pose: Floats) -> Truth:
    """All truth of one hip by name; ``pose`` turns the femur's frame into the canonical one."""
    ischium, thick = socket.ischium_ball
    lesser, round_mm = femur.lesser_trochanter_ball
    apart = float(np.linalg.norm(pose @ lesser - ischium)) - thick - round_mm
    return {**_of_femur(femur, pose), **_of_socket(socket, femur), "ischiofemoral_mm": apart}


def _of_femur(femur: FemurForm, pose: Floats) -> Truth:
    alpha = femur.alpha_deg(HOURS)
    fine = femur.alpha_deg(_FINE_HOURS)
    half = femur.alpha_deg(_FINE_HOURS, 0.5)
    height = femur.neck_height_mm(HOURS)
    tall, volume = cam_size(femur)
    top = int(np.argmax(fine))
    level = np.isclose(fine, fine[top], atol=1e-3).mean()
    return {
        "head_radius_mm": femur.head_radius_mm,
        "neck_axis": pose @ femur.axis,
        "clock_up": pose @ femur.twelve,
        "shaft_axis": pose @ np.array([0.0, 0.0, 1.0]),
        "shaft_point": pose @ femur.on_shaft(femur.shaft_point[2] - 150.0),
        "hours": HOURS,
        "alpha_deg": alpha,
        "alpha_half_mm_deg": femur.alpha_deg(HOURS, 0.5),
        "alpha_one_mm_deg": femur.alpha_deg(HOURS, 1.0),
        "alpha_two_mm_deg": femur.alpha_deg(HOURS, 2.0),
        "alpha_max_deg": float(fine[top]),
        "alpha_max_hour": float("nan") if level > 1 / 2 else float(_FINE_HOURS[top]),
        "omega_55_deg": float((fine > 55.0).mean() * 360.0),  # noqa: PLR2004 (in its name)
        "omega_60_deg": float((fine > 60.0).mean() * 360.0),  # noqa: PLR2004 (in its name)
        "omega_55_half_mm_deg": float((half > 55.0).mean() * 360.0),  # noqa: PLR2004 (as above)
        "omega_60_half_mm_deg": float((half > 60.0).mean() * 360.0),  # noqa: PLR2004 (as above)
        "neck_height_mm": height,
        "head_neck_offset_mm": femur.head_radius_mm - height,
        "neck_shaft_deg": femur.neck_shaft_deg,
        "projected_neck_shaft_deg": projected_neck_shaft_deg(
            femur.neck_shaft_deg, femur.version_deg
        ),
        "version_deg": femur.version_deg,
        "murphy_version_deg": femur.murphy_version_deg,
        "oblique_version_deg": oblique_version_deg(femur.neck_shaft_deg, femur.version_deg),
        "cam_height_mm": tall,
        "cam_volume_mm3": volume,
    }


def cam_size(femur: FemurForm, *, step_deg: float = _STEP_DEG) -> tuple[float, float]:
    """Give height and volume of the bone over the sphere that is no neck, by the field.

    Summed over directions that do not meet the neck; the outline must be seen whole from
    the head's center, as all these hips' outlines are.
    """
    radius = femur.head_radius_mm
    angles = np.arange(step_deg / 2, 180.0, step_deg)
    hours = np.arange(step_deg / 2, 360.0, step_deg) / _DEGREES_PER_HOUR
    neck = femur.alpha_of_neck_deg(hours)
    tallest = 0.0
    total = 0.0
    for hour, own in zip(hours, neck, strict=True):
        beyond = angles[angles > own]
        ways = femur.directions(beyond, hour)
        high = femur.field((radius + 1e-6) * ways) <= 0.0
        if not high.any():
            continue
        ways, beyond = ways[high], beyond[high]
        low, far = np.full(len(ways), radius), np.full(len(ways), radius + _TALLEST_MM)
        for _ in range(_HALVINGS):
            middle = (low + far) / 2
            inside = femur.field(middle[:, None] * ways) <= 0.0
            low, far = np.where(inside, middle, low), np.where(inside, far, middle)
        tallest = max(tallest, float(low.max() - radius))
        total += float(((low**3 - radius**3) / 3 * np.sin(np.radians(beyond))).sum())
    return tallest, total * np.radians(step_deg) ** 2


def _of_socket(socket: SocketForm, femur: FemurForm) -> Truth:
    hours, rim = socket.whole_crest
    first, last = socket.notch_hours
    bony = rim[(hours < first) | (hours > last)]
    normal: Floats = np.linalg.svd(bony - bony.mean(axis=0), full_matrices=False)[2][2]
    azimuth = np.arange(-90.0, 91.0, 15.0)
    edges = np.array([center_edge_deg(rim, a) for a in azimuth])
    ahead, behind = rims_at_height(socket, 0.0)
    angles = {
        f"{kind}_{what}_deg": float(getattr(socket.angles, f"{kind}_{what}_deg"))
        for kind in ("anatomical", "radiographic", "operative")
        for what in ("inclination", "anteversion")
    }
    anterior, posterior = _from_medial_deg(ahead), _from_medial_deg(behind)
    whole, quarters = coverage_percent(socket)
    spine = socket.landmarks()["anterior_inferior_iliac_spine"]
    return {
        "socket_center": socket.center,
        "socket_radius_mm": socket.radius_mm,
        "opening": socket.opening,
        "rim_plane_normal": normal * np.sign(normal @ socket.opening),
        **angles,
        "rim_hours": hours,
        "rim": rim,
        "rim_angle_deg": np.degrees(np.arccos(-(rim @ socket.opening) / _lengths(rim))),
        "notch_hours": np.array(socket.notch_hours),
        "lateral_center_edge_deg": center_edge_deg(rim, 0.0),
        "anterior_center_edge_deg": center_edge_deg(rim, 90.0),
        "azimuth_deg": azimuth,
        "center_edge_deg": edges,
        "version_heights_mm": _HEIGHTS_MM,
        "version_at_height_deg": np.array([version_deg(socket, z) for z in _HEIGHTS_MM]),
        "version_hours": _VERSION_HOURS,
        "version_at_hour_deg": np.array(
            [version_deg(socket, z) for z in socket.crest(_VERSION_HOURS)[:, 2]]
        ),
        "anterior_sector_deg": anterior,
        "posterior_sector_deg": posterior,
        "horizontal_sector_deg": anterior + posterior,
        "coverage_percent": whole,
        "coverage_quadrants_percent": quarters,
        "roof_inclination_deg": roof_inclination_deg(socket),
        "smallest_gap_mm": smallest_gap_mm(socket, femur.head_radius_mm),
        "aiis_to_rim_mm": float(_lengths(bony - spine).min()),
    }


def _lengths(vectors: Floats) -> Floats:
    return np.linalg.norm(vectors, axis=-1)


def _closed(rim: Floats) -> tuple[Floats, Floats]:
    return rim, np.roll(rim, -1, axis=0)


def center_edge_deg(rim: Floats, azimuth_deg: float) -> float:
    """Angle at the head's center from straight up to the rim in one upright half plane.

    The half plane is turned by the azimuth from lateral (0) toward anterior (90). Negative
    where the rim ends before straight up; NaN where there is none.
    """
    a = np.radians(azimuth_deg)
    out, beside = np.array([np.cos(a), np.sin(a), 0.0]), np.array([-np.sin(a), np.cos(a), 0.0])
    one, two = _closed(rim)
    off, next_off = one @ beside, two @ beside
    crossing = (off <= 0) != (next_off <= 0)
    share = off[crossing] / (off[crossing] - next_off[crossing])
    at = one[crossing] + share[:, None] * (two[crossing] - one[crossing])
    wide, high = at @ out, at[:, 2]
    angles = np.degrees(np.arctan2(wide, high))
    if (wide > 0).any():
        return float(angles[wide > 0].min())
    return float(angles[high > 0].max()) if (high > 0).any() else float("nan")


def rims_at_height(socket: SocketForm, height_mm: float) -> tuple[Floats, Floats]:
    """Anterior and posterior rim in the axial slice at a height over the head's center."""
    one, two = _closed(socket.whole_crest[1])
    off, next_off = one[:, 2] - height_mm, two[:, 2] - height_mm
    crossing = (off <= 0) != (next_off <= 0)
    share = off[crossing] / (off[crossing] - next_off[crossing])
    at = one[crossing] + share[:, None] * (two[crossing] - one[crossing])
    if len(at) != 2:  # noqa: PLR2004 (a closed curve that is cut once)
        return np.full(3, np.nan), np.full(3, np.nan)
    return at[int(at[:, 1].argmax())], at[int(at[:, 1].argmin())]


def version_deg(socket: SocketForm, height_mm: float) -> float:
    """Version in an axial slice: of the line between the rims against the sagittal plane."""
    ahead, behind = rims_at_height(socket, height_mm)
    return float(np.degrees(np.arctan2(behind[0] - ahead[0], ahead[1] - behind[1])))


def _from_medial_deg(at: Floats) -> float:
    """Angle at the head's center in the axial plane, from the line to the other head."""
    return float(np.degrees(np.arccos(-at[0] / np.hypot(at[0], at[1]))))


def coverage_percent(socket: SocketForm) -> tuple[float, Floats]:
    """Share of the head's sphere inside the rim: of all of it, and of each quarter by hours.

    The rim is looked at from the head's center; across the notch it runs on.
    """
    _, rim = socket.whole_crest
    away = rim / _lengths(rim)[:, None]
    angle = np.arccos(-(away @ socket.opening))
    turn = np.unwrap(np.arctan2(away @ socket.three, away @ socket.twelve))
    rising = turn - 2 * np.pi * np.floor(turn[0] / (2 * np.pi))
    fine = (np.arange(7200) + 0.5) / 7200 * 2 * np.pi
    capped = (1.0 - np.cos(np.interp(fine, rising, angle, period=2 * np.pi))) / 2.0
    quarters = capped.reshape(_QUARTERS, -1).mean(axis=1)
    return float(_PERCENT * capped.mean()), _PERCENT * quarters


def roof_inclination_deg(socket: SocketForm) -> float:
    """Rise of the line from the medial end of the roof to its lateral one, lateral positive.

    In the frontal plane through the head's center; the medial end is where the fossa begins.
    """
    circle = np.sqrt(socket.radius_mm**2 - socket.center[1] ** 2)
    turn = np.arange(90.0, -90.0, -0.002)
    ring = np.radians(turn)
    at = np.stack(
        [
            socket.center[0] + circle * np.sin(ring),
            np.zeros_like(ring),
            socket.center[2] + circle * np.cos(ring),
        ],
        axis=-1,
    )
    carries = socket.is_articular((at - socket.center) / socket.radius_mm)
    first = int(carries.argmax())
    last = first + int((~carries[first:]).argmax()) - 1
    lateral, medial = at[first], at[last]
    return float(np.degrees(np.arctan2(lateral[2] - medial[2], lateral[0] - medial[0])))


def smallest_gap_mm(socket: SocketForm, head_radius_mm: float) -> float:
    """Smallest distance from the articular sphere to the head."""
    angles, hours = np.meshgrid(np.arange(0.25, 120.0, 0.25), np.arange(0.0, 12.0, 0.01))
    ways = socket.directions(angles.ravel(), hours.ravel())
    ways = ways[socket.is_articular(ways)]
    return float(_lengths(socket.center + socket.radius_mm * ways).min() - head_radius_mm)
