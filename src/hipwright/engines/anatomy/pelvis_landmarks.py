"""Landmarks of the hip bones, found where the bone reaches farthest in the pelvis's own frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import load
from hipwright.domain.anatomy import Bone, BoneLandmarks, SpacePoint, Surface
from hipwright.domain.errors import SurfaceError
from hipwright.engines.anatomy.canonical import HipBorder
from hipwright.engines.anatomy.pelvis_frame import pelvic_frame
from hipwright.engines.anatomy.pelvis_lids import Lid, flat_lids
from hipwright.engines.anatomy.socket_sphere import SocketSphere, find_socket

Floats = NDArray[np.float64]

SOCKET_CENTER = "socket_center"
HIP_BONES = (Bone.HIP_BONE_RIGHT, Bone.HIP_BONE_LEFT)

_ROUNDS = 6
_SETTLED_DEG = 0.05
_NEAR_LID_MM = 4.0
_CAP_MM = 0.8
_SAME_PLACE_MM = 8.0
_ALWAYS_SEEN_MM = 0.3  # a socket's center moves by no more (judgment)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Search:
    """A landmark is the farthest place in a direction, within a box about the socket's center.

    ``low`` and ``high`` are lateral, anterior and superior bounds in mm.
    """

    landmark: str
    direction: tuple[float, float, float]
    low: tuple[float, float, float]
    high: tuple[float, float, float]


_FAR = 400.0
_SEARCHES = (
    _Search(
        landmark="anterior_superior_iliac_spine",
        direction=(0.1, 1.0, -0.15),
        low=(-20.0, 10.0, 45.0),
        high=(_FAR, _FAR, 115.0),
    ),
    _Search(
        landmark="anterior_inferior_iliac_spine",
        direction=(0.2, 1.0, -0.35),
        low=(-8.0, 5.0, 16.0),
        high=(40.0, _FAR, 45.0),
    ),
    _Search(
        landmark="pubic_tubercle",
        direction=(0.25, 1.0, 0.0),  # its outer end, where readers put it
        low=(-100.0, 15.0, -60.0),
        high=(-38.0, _FAR, 12.0),
    ),
    _Search(
        landmark="posterior_superior_iliac_spine",
        direction=(0.0, -1.0, 0.0),
        low=(-90.0, -_FAR, 62.0),
        high=(30.0, -45.0, 135.0),
    ),
    _Search(
        landmark="ischial_spine_tip",
        direction=(-1.0, -0.45, 0.0),
        low=(-80.0, -_FAR, -25.0),
        high=(0.0, -22.0, 20.0),
    ),
    _Search(
        landmark="ischial_tuberosity",
        direction=(0.0, 0.0, -1.0),
        low=(-80.0, -70.0, -130.0),
        high=(20.0, 10.0, -35.0),
    ),
)
_PUBIS = _Search(
    landmark="symphysis_superior",
    direction=(0.0, 0.0, 1.0),
    low=(-140.0, 12.0, -70.0),
    high=(-40.0, _FAR, 15.0),
)
_BESIDE_SYMPHYSIS_MM = 5.0
_LOWER_ISCHIUM_MM = 25.0


def pelvis_landmarks(surfaces: Mapping[Bone, Surface]) -> BoneLandmarks:
    """Find the landmarks of the hip bones of one scan.

    Parameters
    ----------
    surfaces
        The bones in ``patient_lps``; others than hip bones are passed over.

    Returns
    -------
    BoneLandmarks
        What was found; a landmark that the scan does not reach is not there. Spreads are the
        catalog's.

    Notes
    -----
    The search starts in the patient's axes, turned so that the two sockets are level, and is
    repeated in the frame of the landmarks it found until that no longer turns.
    """
    bones = [_Seen.of(bone, surfaces[bone]) for bone in HIP_BONES if bone in surfaces]
    seen = [bone for bone in bones if bone is not None]
    frame = _first_frame(seen)
    found = BoneLandmarks()
    for _ in range(_ROUNDS):
        points: list[SpacePoint] = []
        for bone in seen:
            points += bone.landmarks(frame)
        found = BoneLandmarks(points=tuple(points))
        before, frame = frame, pelvic_frame(found).app_from_lps
        turned = np.degrees(np.arccos(np.clip((np.trace(frame @ before.T) - 1) / 2, -1.0, 1.0)))
        if turned < _SETTLED_DEG:
            break
    return found


def _first_frame(seen: list[_Seen]) -> Floats:
    across = np.array([-1.0, 0.0, 0.0])
    if len(seen) == len(HIP_BONES):
        across = seen[0].socket.center - seen[1].socket.center
        across /= np.linalg.norm(across)
    up = np.array([0.0, 0.0, 1.0])
    up -= (up @ across) * across
    up /= np.linalg.norm(up)
    return np.stack([across, np.asarray(np.cross(up, across)), up])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Seen:
    """A hip bone with its socket and the ends of the scan."""

    bone: Bone
    surface: Surface
    socket: SocketSphere
    lids: tuple[Lid, ...]

    @classmethod
    def of(cls, bone: Bone, surface: Surface) -> _Seen | None:
        """The bone, or ``None`` where it has no socket."""
        try:
            socket = find_socket(surface)
        except SurfaceError:
            return None
        return cls(bone=bone, surface=surface, socket=socket, lids=flat_lids(surface))

    def landmarks(self, app_from_lps: Floats) -> list[SpacePoint]:
        """All of this bone, in a frame."""
        side = self.bone.side
        if side is None:
            return []
        border = HipBorder(
            side=side, app_from_lps=app_from_lps, origin_mm=self.socket.center, fixed_to=""
        )
        places = border.to_canonical(self.surface.vertices)
        searches = [*_SEARCHES, *_more(places)]
        found = [(s.landmark, _farthest(places, s)) for s in searches]
        points = [
            SpacePoint(
                id=SOCKET_CENTER,
                side=side,
                at_mm=_triple(self.socket.center),
                sd_mm=_ALWAYS_SEEN_MM,
            )
        ]
        for landmark, place in found:
            if place is None:
                continue
            home = border.from_canonical(place)
            if any(lid.depths_mm(home) < _NEAR_LID_MM for lid in self.lids):
                continue
            sd_mm = load().bone_feature(landmark).sd_mm
            points.append(SpacePoint(id=landmark, side=side, at_mm=_triple(home), sd_mm=sd_mm))
        return points


def _more(places: Floats) -> list[_Search]:
    """Searches whose boxes hang on where the pubis and the ischium end."""
    searches: list[_Search] = []
    pubis = places[_inside(places, _PUBIS.low, _PUBIS.high)]
    if len(pubis):
        edge = float(pubis[:, 0].min()) + _BESIDE_SYMPHYSIS_MM
        searches.append(
            _Search(
                landmark=_PUBIS.landmark,
                direction=_PUBIS.direction,
                low=_PUBIS.low,
                high=(edge, *_PUBIS.high[1:]),
            )
        )
    lowest = float(places[:, 2].min())
    searches.append(
        _Search(
            landmark="ischial_tuberosity_lateral",
            direction=(1.0, 0.0, 0.0),
            low=(-80.0, -90.0, lowest),
            high=(40.0, 0.0, min(lowest + _LOWER_ISCHIUM_MM, -35.0)),
        )
    )
    return searches


def _inside(
    places: Floats, low: tuple[float, float, float], high: tuple[float, float, float]
) -> NDArray[np.bool_]:
    room: Floats = np.minimum(places - np.array(low), np.array(high) - places)
    return room.min(axis=1) > 0.0


def _farthest(places: Floats, search: _Search) -> Floats | None:
    """The middle of the cap that reaches farthest, on the surface; ``None`` outside the scan."""
    box = places[_inside(places, search.low, search.high)]
    if not len(box):
        return None
    direction = np.array(search.direction) / np.linalg.norm(search.direction)
    heights = box @ direction
    top = box[int(heights.argmax())]
    cap = (heights > heights.max() - _CAP_MM) & (
        np.linalg.norm(box - top, axis=1) < _SAME_PLACE_MM
    )
    weights = heights[cap] - (heights.max() - _CAP_MM)
    middle = np.average(box[cap], axis=0, weights=weights)
    return middle + (float(heights.max()) - float(middle @ direction)) * direction


def _triple(place: Floats) -> tuple[float, float, float]:
    return float(place[0]), float(place[1]), float(place[2])
