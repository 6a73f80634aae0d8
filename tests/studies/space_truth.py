"""What a person's hips measure in space, for the measurements that have a meaning there."""

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from hipwright.domain.side import Side
from hipwright.domain.study import View
from hipwright.phantoms.film_bodies import Part
from hipwright.phantoms.film_people import SCAR_SLOPE_DEG
from hipwright.phantoms.film_setup import turn
from hipwright.phantoms.people import Person
from hipwright.phantoms.person_truth import HipTruth
from tests.studies.perfect_readings import PerfectReading

Floats = NDArray[np.float64]
Key = tuple[str, Side | None]

AP_HOURS, DUNN_HOURS = (-0.5, 0.5), (0.5, 2.5)
"""Where the views show the junction: AP at about twelve, 45° Dunn at one to two o'clock
(reference, A.1), half an hour more to either side for the version of the neck (judgment)."""


def space_truth(
    person: Person, reading: PerfectReading, *, slopes: Mapping[Side, float]
) -> dict[Key, float]:
    """Truth by catalog id and side for one film; position indices as the pelvis lies on it."""
    found: dict[Key, float] = {}
    for side in reading.sides:
        hip = person.truth.hip(side)
        if reading.view is View.PELVIS_AP:
            found |= {(name, side): value for name, value in _socket(hip)}
            found |= {(name, side): value for name, value in _posed_femur(hip, reading)}
            if side in slopes:
                found["fear_index", side] = hip.roof_angle_deg - slopes[side]
        if reading.view is not View.FALSE_PROFILE:
            found |= {(name, side): value for name, value in _junction(hip, reading.view)}
    if reading.view is View.PELVIS_AP:
        found |= {(name, None): value for name, value in _position(person, reading)}
    if reading.view is View.FALSE_PROFILE:
        found["false_profile_rotation", None] = abs(reading.simulated.setup.rotation_deg)
    return found


def _up(arm: Floats) -> float:
    return float(np.degrees(np.arctan2(arm[0], arm[1])))


def _socket(hip: HipTruth) -> Iterator[tuple[str, float]]:
    outward = 1.0 if hip.side is Side.LEFT else -1.0
    frontal = np.array([[outward, 0.0, 0.0], [0.0, 0.0, 1.0]])
    radius = hip.head_radius_mm
    place = {n: frontal @ (p - hip.head_center) for n, p in hip.pelvis.points.items()}
    rim, drop = place["acetabular_rim_lateral"], place["teardrop_inferior"]
    roof = (hip.pelvis.curves["acetabular_roof"] - hip.head_center) @ frontal.T
    roof = roof[np.argsort(roof[:, 0])]
    yield "lateral_center_edge_angle.sourcil", hip.lateral_center_edge_deg
    yield "lateral_center_edge_angle.rim", hip.rim_center_edge_deg
    yield "roof_angle.tonnis", hip.roof_angle_deg
    yield "sharp_angle", 90.0 - _up(rim - drop)
    yield "extrusion_index", 100 * (radius - float(rim[0])) / (2 * radius)
    for site, name in (("lateral", "sourcil_lateral_edge"), ("medial", "sourcil_medial_edge")):
        yield f"joint_space.{site}", float(np.linalg.norm(place[name])) - radius
    yield "joint_space.apical", float(np.interp(0.0, roof[:, 0], roof[:, 1])) - radius
    yield "joint_space.minimum", hip.smallest_gap_mm


def _posed_femur(hip: HipTruth, reading: PerfectReading) -> Iterator[tuple[str, float]]:
    """Both angles of the shaft as parallel rays from the front show the leg as it lies."""
    outward = 1.0 if hip.side is Side.LEFT else -1.0
    pose = reading.simulated.poses[Part.femur(hip.side)]
    level = np.array([[outward, 0.0, 0.0], [0.0, 0.0, 1.0]]) @ _leveled(reading)
    names = (
        "femoral_head_center",
        "neck_isthmus",
        "femoral_shaft_proximal",
        "femoral_shaft_distal",
    )
    head, neck, upper, lower = (level @ pose.apply(hip.femur.points[n][None])[0] for n in names)
    toward, down = head - neck, lower - upper
    cosine = toward @ down / np.linalg.norm(toward) / np.linalg.norm(down)
    yield "neck_shaft_angle", float(np.degrees(np.arccos(cosine)))
    yield "femoral_shaft_adduction", float(np.degrees(np.arctan2(-down[0], -down[1])))


def _leveled(reading: PerfectReading) -> Floats:
    """From the pelvis to the room, as a film shows it that is leveled by the heads."""
    setup = reading.simulated.setup
    return turn(1, -setup.roll_deg) @ setup.room_from_pelvis()


def _junction(hip: HipTruth, view: View) -> Iterator[tuple[str, float]]:
    """Where the contour leaves the sphere, the largest of the hours that the view shows."""
    hours = (hip.departure_hours + 6) % 12 - 6
    low, high = AP_HOURS if view is View.PELVIS_AP else DUNN_HOURS
    seen = (hours >= low) & (hours <= high)
    for departure, names in ((0.5, ("", ".departure_half_mm")), (2.0, (".departure_two_mm",))):
        angles = hip.departure_deg[departure][seen]
        if np.isfinite(angles).any():
            for name in names:
                yield f"alpha_angle.three_point{name}", float(np.nanmax(angles))


def _position(person: Person, reading: PerfectReading) -> Iterator[tuple[str, float]]:
    room = _leveled(reading)
    place = {name: room @ point for name, point in person.truth.midline.points.items()}
    floor = place["symphysis_superior"]
    yield "pelvic_tilt.coccyx_symphysis", float(place["coccyx_tip"][2] - floor[2])
    yield (
        "pelvic_tilt.sacrococcygeal_symphysis",
        float(place["sacrococcygeal_joint"][2] - floor[2]),
    )
    yield "pelvic_rotation.coccyx_offset", float(place["coccyx_tip"][0] - floor[0])
    yield "pelvic_rotation.sacrum_offset", float(place["mid_sacrum"][0] - floor[0])


SLOPES: Mapping[Side, float] = dict.fromkeys(Side, SCAR_SLOPE_DEG)
