"""How a film is taken: view, distances, how the patient lies and how the legs are held."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from hipwright.domain.side import Side
from hipwright.domain.study import Posture, View
from hipwright.phantoms.film_bodies import Part, Skeleton
from hipwright.phantoms.projection import Array, Beam, beam_through


def turn(axis: int, degrees: float) -> Array:
    """Give the rotation matrix about x (0), y (1) or z (2), right-handed."""
    cosine, sine = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    one, two = (axis + 1) % 3, (axis + 2) % 3
    matrix = np.eye(3)
    matrix[one, one] = matrix[two, two] = cosine
    matrix[one, two], matrix[two, one] = -sine, sine
    return matrix


@dataclass(frozen=True, slots=True, kw_only=True)
class LegPose:
    """How a leg is held, positive as named on both sides; degrees."""

    flexion_deg: float = 0.0
    abduction_deg: float = 0.0
    internal_rotation_deg: float = 0.0

    def rotation(self, side: Side) -> Array:
        """Give flexion · abduction · internal rotation in LPS axes, shape (3, 3)."""
        sign = 1.0 if side is Side.RIGHT else -1.0
        return (
            turn(0, -self.flexion_deg)
            @ turn(1, sign * self.abduction_deg)
            @ turn(2, sign * self.internal_rotation_deg)
        )


NEUTRAL = LegPose()
AP_LEG = LegPose(internal_rotation_deg=15.0)  # imaging-and-planning reference, A.1 [memory]
DUNN_45_LEG = LegPose(flexion_deg=45.0, abduction_deg=20.0)  # A.1 [verified there]
FALSE_PROFILE_TURN_DEG = 65.0  # A.1 [verified there]
DUNN_SOURCE_DETECTOR_MM = 1020.0  # A.1 [memory]


@dataclass(frozen=True, slots=True, kw_only=True)
class RigidPose:
    """Rotation about a pivot: ``x' = rotation · (x − pivot) + pivot``."""

    rotation: Array
    pivot_mm: Array

    def apply(self, points_mm: Array) -> Array:
        """Move points, shape (n, 3)."""
        return (np.asarray(points_mm) - self.pivot_mm) @ self.rotation.T + self.pivot_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmSetup:
    """Everything that decides the geometry of a film.

    Parameters
    ----------
    view, side, posture
        What is taken; ``side`` is the hip aimed at (``None`` for both).
    source_detector_mm, object_detector_mm
        SDD and the distance from the hips to the detector.
    columns, rows, pixel_mm
        The detector.
    tilt_deg
        Pelvic tilt about the left-right axis against the person's own pose,
        positive forward (towards an inlet view).
    rotation_deg
        Turn about the long axis, positive towards the patient's left. A false
        profile of the left hip is about +65, of the right about −65.
    roll_deg
        How obliquely the patient lies on the film, positive clockwise on it.
    legs
        Poses of the legs against the table, by side.
    aim_right_mm, aim_up_mm
        Where the central ray passes, from the middle of the heads or the head
        aimed at, right and up on the film.
    """

    view: View
    side: Side | None = None
    posture: Posture = Posture.SUPINE
    source_detector_mm: float = 1200.0
    object_detector_mm: float = 150.0
    columns: int = 2500
    rows: int = 2048
    pixel_mm: float = 0.16
    tilt_deg: float = 0.0
    rotation_deg: float = 0.0
    roll_deg: float = 0.0
    legs: Mapping[Side, LegPose] = field(default_factory=dict[Side, LegPose])
    aim_right_mm: float = 0.0
    aim_up_mm: float = 0.0

    def leg(self, side: Side) -> LegPose:
        """How that leg is held."""
        return self.legs.get(side, NEUTRAL)

    def room_from_pelvis(self) -> Array:
        """Give the rotation of the pelvis against the room, shape (3, 3)."""
        return turn(1, self.roll_deg) @ turn(2, self.rotation_deg) @ turn(0, self.tilt_deg)

    def subject_mm(self, skeleton: Skeleton) -> Array:
        """Give the point whose distance to the detector is the OID."""
        if self.side is None:
            return skeleton.middle_of_heads_mm
        return np.asarray(skeleton.head_centers_mm[self.side])

    def beam(self, skeleton: Skeleton) -> Beam:
        """Give the beam in the frame of the pelvis."""
        pelvis_from_room = self.room_from_pelvis().T
        subject = self.subject_mm(skeleton)
        aim = np.array([self.aim_right_mm, 0.0, self.aim_up_mm])
        return beam_through(
            center_mm=subject + pelvis_from_room @ aim,
            subject_mm=subject,
            direction=pelvis_from_room @ np.array([0.0, 1.0, 0.0]),
            up=pelvis_from_room @ np.array([0.0, 0.0, 1.0]),
            source_detector_mm=self.source_detector_mm,
            object_detector_mm=self.object_detector_mm,
            pixel_mm=self.pixel_mm,
            columns=self.columns,
            rows=self.rows,
        )

    def pose(self, part: Part, skeleton: Skeleton) -> RigidPose:
        """Give how a part is moved in the frame of the pelvis.

        Legs keep to the table: they turn and roll with the body, but a tilt of
        the pelvis does not carry them along.
        """
        if part.side is None:
            return RigidPose(rotation=np.eye(3), pivot_mm=np.zeros(3))
        rotation = turn(0, -self.tilt_deg) @ self.leg(part.side).rotation(part.side)
        return RigidPose(rotation=rotation, pivot_mm=skeleton.head_centers_mm[part.side])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """A beam, and how every part is held in it, all in the frame of the pelvis.

    ``shafts`` are the directions down the posed femora.
    """

    beam: Beam
    poses: Mapping[Part, RigidPose]
    shafts: Mapping[Side, Array]

    @classmethod
    def of(cls, skeleton: Skeleton, setup: FilmSetup) -> "Scene":
        """Pose a skeleton as a setup asks for."""
        poses = {part: setup.pose(part, skeleton) for part in Part}
        down = np.array([0.0, 0.0, -1.0])
        shafts = {side: poses[Part.femur(side)].rotation @ down for side in Side}
        return cls(beam=setup.beam(skeleton), poses=poses, shafts=shafts)


def pelvis_ap(*, posture: Posture = Posture.SUPINE, **changes: Any) -> FilmSetup:
    """AP pelvis, supine or standing, legs turned in by 15°; changes are fields of the setup."""
    legs = dict.fromkeys(Side, AP_LEG)
    setup = FilmSetup(view=View.PELVIS_AP, posture=posture, legs=legs, aim_up_mm=30.0)
    return replace(setup, **changes)


def dunn_45(side: Side, **changes: Any) -> FilmSetup:
    """45° Dunn view of one hip: flexed 45°, abducted 20°, neutral rotation."""
    setup = FilmSetup(
        view=View.DUNN_45,
        side=side,
        legs={side: DUNN_45_LEG},
        source_detector_mm=DUNN_SOURCE_DETECTOR_MM,
        columns=1500,
        rows=1800,
        aim_right_mm=-12.0 if side is Side.RIGHT else 12.0,
        aim_up_mm=5.0,
    )
    return replace(setup, **changes)


def false_profile(side: Side, **changes: Any) -> FilmSetup:
    """False profile of one hip: standing, the pelvis turned 65° to the detector.

    Wide enough for the other head, from whose distance the turn is read.
    """
    setup = FilmSetup(
        view=View.FALSE_PROFILE,
        side=side,
        posture=Posture.STANDING,
        rotation_deg=FALSE_PROFILE_TURN_DEG * (1.0 if side is Side.LEFT else -1.0),
        source_detector_mm=DUNN_SOURCE_DETECTOR_MM,
        columns=2000,
        rows=1800,
        aim_up_mm=15.0,
    )
    return replace(setup, **changes)
