"""The constructions of socket and joint, drawn from the very arrays they were measured from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.anatomy.socket_clock import directions, unit
from hipwright.engines.anatomy.socket_in_space import SocketInSpace
from hipwright.engines.anatomy.socket_survey import map_places
from hipwright.engines.measurement.space_acetabulum import (
    ONE_OCLOCK,
    TWO_OCLOCK,
    anterior_edge,
    clock_of_rim,
    height_of_hour,
    inward_line,
    lateral_edge,
    rim_angle_rad,
    rims_at,
    roof_ends,
)
from hipwright.engines.measurement.space_curves import by_hour
from hipwright.engines.measurement.space_drawing import DrawnLine, DrawnPoint, SpaceDrawing
from hipwright.engines.measurement.space_joint import (
    SPINE_END,
    SPINE_TIP,
    narrowest,
    nearest_rim,
    rim_below_spine,
)

Floats = NDArray[np.float64]
Parts = tuple[Mapping[str, Floats], list[DrawnLine]]
Maker = Callable[[SocketInSpace, float], Parts]

ARM = 1.5
"""Helping lines are so many head radii long."""

_UP = np.array([0.0, 0.0, 1.0])
_AHEAD = np.array([0.0, 1.0, 0.0])
_LATERAL = np.array([1.0, 0.0, 0.0])
_HEAD, _RIM = "center of the head", "rim"
_TURN_HOURS = np.arange(0.0, 12.05, 0.1)
_ARC_SHARES = np.arange(0.0, 1.02, 0.05)


def drawing_of_socket(
    definition: str, hip: HipInSpace, hour: float | None = None
) -> SpaceDrawing | None:
    """Draw how a value of the socket or of the joint was constructed.

    Parameters
    ----------
    definition
        Id of a catalog entry.
    hip
        As surveyed, without leading axes, in the pose that was measured.
    hour
        Of a value of a series.

    Returns
    -------
    SpaceDrawing or None
        ``None`` for other entries, and where the value could not be measured.
    """
    maker = DRAWINGS.get(definition)
    if maker is None or hip.socket is None:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        points, lines = maker(hip.socket, float("nan") if hour is None else hour)
    places = [*points.values(), *(line.points_mm for line in lines)]
    if not all(bool(np.isfinite(place).all()) for place in places):
        return None
    return SpaceDrawing(
        points=tuple(DrawnPoint(name=name, at_mm=at) for name, at in points.items()),
        lines=tuple(line for line in lines if len(line.points_mm)),
    )


def _line(name: str, *places: Floats, dashed: bool = False) -> DrawnLine:
    return DrawnLine(name=name, points_mm=np.stack(places), dashed=dashed)


def _arc(center: Floats, start: Floats, end: Floats, radius: float) -> DrawnLine:
    """From one direction to another about a center, on a part of the radius."""
    ways = unit(start) + _ARC_SHARES[:, None] * (unit(end) - unit(start))
    return DrawnLine(name="angle", points_mm=center + radius * unit(ways))


def _reach(socket: SocketInSpace) -> float:
    return ARM * float(socket.head_radius_mm)


def _angle(socket: SocketInSpace, edge: Floats, start: Floats, helping: str) -> Parts:
    """An angle at the head's center from a helping direction to the rim."""
    center, reach = socket.head_center, _reach(socket)
    return {_HEAD: center, _RIM: edge}, [
        _line(helping, center, center + reach * start, dashed=True),
        _line("to the rim", center, edge),
        _arc(center, start, edge - center, reach / 2),
    ]


def _lateral(socket: SocketInSpace, _hour: float) -> Parts:
    return _angle(socket, lateral_edge(socket), _UP, "straight up")


def _anterior(socket: SocketInSpace, _hour: float) -> Parts:
    return _angle(socket, anterior_edge(socket), _UP, "straight up")


def rim_place(socket: SocketInSpace, hour: float) -> Floats:
    """The rim at an hour, (3,); NaN at the notch."""
    clock, wanted = clock_of_rim(socket), np.array([hour])
    return np.array([by_hour(clock, socket.rim[..., k], wanted)[0] for k in range(3)])


def _by_hour(socket: SocketInSpace, hour: float) -> Parts:
    return _angle(socket, rim_place(socket, hour), -socket.opening, "axis of the socket")


def _version(socket: SocketInSpace, height: Floats) -> Parts:
    front, back = rims_at(socket, height)
    length = np.linalg.norm(front - back)
    return {"front rim": front, "back rim": back}, [
        _line("from rim to rim", back, front),
        _line("straight ahead", back, back + length * _AHEAD, dashed=True),
    ]


def _equatorial(socket: SocketInSpace, _hour: float) -> Parts:
    return _version(socket, socket.head_center[..., 2])


def _at_two(socket: SocketInSpace, _hour: float) -> Parts:
    return _version(socket, height_of_hour(socket, TWO_OCLOCK))


def _at_one(socket: SocketInSpace, _hour: float) -> Parts:
    return _version(socket, height_of_hour(socket, ONE_OCLOCK))


def crest_lines(socket: SocketInSpace) -> list[DrawnLine]:
    """The rim in one piece for each stretch without a gap."""
    return _stretches(_RIM, socket.rim)


def _stretches(name: str, curve: Floats) -> list[DrawnLine]:
    """A closed curve, one line for each stretch without a gap."""
    known = np.isfinite(curve[:, 0])
    if known.all():
        return [DrawnLine(name=name, points_mm=np.vstack([curve, curve[:1]]))]
    start = int(np.flatnonzero(~known)[0])
    rolled, there = np.roll(curve, -start, axis=0), np.roll(known, -start)
    edges = np.flatnonzero(np.diff(there.astype(int), prepend=0, append=0))
    pieces = [rolled[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [DrawnLine(name=name, points_mm=piece) for piece in pieces]


def _plane_version(socket: SocketInSpace, _hour: float) -> Parts:
    center, reach = socket.center, _reach(socket)
    flat = socket.opening * [1.0, 1.0, 0.0]
    return {"center of the socket": center}, [
        *crest_lines(socket),
        _line("way the socket opens", center, center + reach * socket.opening),
        _line("the same seen from above", center, center + reach * unit(flat), dashed=True),
        _line("lateral", center, center + reach * _LATERAL, dashed=True),
        _arc(center, _LATERAL, flat, reach / 2),
    ]


def _plane_inclination(socket: SocketInSpace, _hour: float) -> Parts:
    center, reach = socket.center, _reach(socket)
    return {"center of the socket": center}, [
        *crest_lines(socket),
        _line("way the socket opens", center, center + reach * socket.opening),
        _line("straight down", center, center - reach * _UP, dashed=True),
        _arc(center, -_UP, socket.opening, reach / 2),
    ]


def _sector(socket: SocketInSpace, *, front: bool, back: bool) -> Parts:
    center, reach = socket.head_center, _reach(socket)
    inward = np.append(inward_line(socket), 0.0)
    ahead, behind = rims_at(socket, center[..., 2])
    points: dict[str, Floats] = {_HEAD: center}
    lines = [_line("line of the heads", center, center + reach * inward, dashed=True)]
    for name, place, wanted in (("front rim", ahead, front), ("back rim", behind, back)):
        if wanted:
            points[name] = place
            lines.append(_line(f"to the {name}", center, place))
            lines.append(_arc(center, inward, place - center, reach / 2))
    return points, lines


def _anterior_sector(socket: SocketInSpace, _hour: float) -> Parts:
    return _sector(socket, front=True, back=False)


def _posterior_sector(socket: SocketInSpace, _hour: float) -> Parts:
    return _sector(socket, front=False, back=True)


def _horizontal_sector(socket: SocketInSpace, _hour: float) -> Parts:
    return _sector(socket, front=True, back=True)


def _on_head(socket: SocketInSpace, places: Floats) -> Floats:
    ways = unit(places - socket.head_center)
    return socket.head_center + socket.head_radius_mm * ways


def _coverage(socket: SocketInSpace, _hour: float) -> Parts:
    covered = [
        DrawnLine(name="edge of what is covered", points_mm=_on_head(socket, line.points_mm))
        for line in crest_lines(socket)
    ]
    return {_HEAD: socket.head_center}, [*crest_lines(socket), *covered]


def _quarter(first: float) -> Maker:
    def make(socket: SocketInSpace, hour: float) -> Parts:
        points, lines = _coverage(socket, hour)
        limits: list[DrawnLine] = []
        for at in (first, first + 3.0):
            widest = by_hour(clock_of_rim(socket), rim_angle_rad(socket), np.array([at % 12.0]))
            end = widest if np.isfinite(widest).all() else np.array([np.pi / 2])
            ways = directions(socket.opening, _ARC_SHARES * end, np.array(at))
            place = socket.head_center + socket.head_radius_mm * ways
            limits.append(DrawnLine(name=f"{at % 12 or 12:g} o'clock", points_mm=place))
        return points, [*lines, *limits]

    return make


def _roof(socket: SocketInSpace, _hour: float) -> Parts:
    medial, lateral = roof_ends(socket)
    level = medial + np.linalg.norm(lateral - medial) * _LATERAL
    return {"border of the fossa": medial, "end of the articular surface": lateral}, [
        _line("roof", medial, lateral),
        _line("level", medial, level, dashed=True),
    ]


def _circles(center: Floats, radius: Floats) -> list[DrawnLine]:
    ways = [directions(axis, np.array(np.pi / 2), _TURN_HOURS) for axis in (_AHEAD, _LATERAL)]
    turn = _TURN_HOURS * (np.pi / 6)
    ways.append(np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], axis=-1))
    return [DrawnLine(name="sphere", points_mm=center + radius * way) for way in ways]


def _radius(socket: SocketInSpace, _hour: float) -> Parts:
    return {"center of the socket": socket.center}, _circles(socket.center, socket.radius_mm)


def _centers(socket: SocketInSpace, _hour: float) -> Parts:
    points = {_HEAD: socket.head_center, "center of the socket": socket.center}
    return points, [_line("between the centers", socket.head_center, socket.center)]


def _smallest_space(socket: SocketInSpace, _hour: float) -> Parts:
    places, gap = map_places(socket), socket.gap_mm
    taken = narrowest(socket, 0.0 if not np.isfinite(gap).any() else 1e-9)
    at = np.unravel_index(int(taken.argmax()), taken.shape)
    place = places[at]
    foot = place + gap[at] * unit(socket.head_center - place)
    return {"narrowest place": place}, [_line("width of the joint", place, foot)]


def _surface_edges(socket: SocketInSpace, _hour: float) -> Parts:
    return {}, [
        *_stretches("outer end of the articular surface", socket.lunate_outer),
        *_stretches("border of the fossa", socket.fossa_edge),
    ]


def _space_at(socket: SocketInSpace, hour: float) -> Parts:
    row = int(np.abs(socket.map_hours - hour % 12.0).argmin())
    places = map_places(socket)[row]
    known = places[np.isfinite(socket.gap_mm[row])]
    if not len(known):
        return {"articular surface": np.full(3, np.nan)}, []
    return {}, [DrawnLine(name="articular surface at this hour", points_mm=known)]


def _spine_to_rim(socket: SocketInSpace, _hour: float) -> Parts:
    tip = socket.points[SPINE_TIP]
    rim, _ = nearest_rim(socket, tip)
    return {"spine": tip, _RIM: rim}, [_line("from spine to rim", tip, rim)]


def _spine_level(socket: SocketInSpace, _hour: float) -> Parts:
    low, rim = socket.points[SPINE_END], rim_below_spine(socket)
    level = np.append(low[:2], rim[2])
    return {"lower end of the spine": low, _RIM: rim}, [
        _line("height", level, low),
        _line("level of the rim", rim, level, dashed=True),
    ]


def _ischiofemoral(socket: SocketInSpace, _hour: float) -> Parts:
    ischium, femur = socket.ischiofemoral_ends
    points = {"ischium": ischium, "femur": femur}
    return points, [_line("from ischium to femur", ischium, femur)]


DRAWINGS: Mapping[str, Maker] = MappingProxyType(
    {
        "center_edge_angle.lateral_in_space": _lateral,
        "center_edge_angle.anterior_in_space": _anterior,
        "center_edge_angle.by_hour": _by_hour,
        "acetabular_version.equatorial": _equatorial,
        "acetabular_version.two_oclock": _at_two,
        "acetabular_version.one_oclock": _at_one,
        "acetabular_version.plane": _plane_version,
        "acetabular_inclination.plane": _plane_inclination,
        "anterior_sector_angle": _anterior_sector,
        "posterior_sector_angle": _posterior_sector,
        "horizontal_sector_angle": _horizontal_sector,
        "head_coverage.total": _coverage,
        "head_coverage.anterosuperior": _quarter(0.0),
        "head_coverage.anteroinferior": _quarter(3.0),
        "head_coverage.posteroinferior": _quarter(6.0),
        "head_coverage.posterosuperior": _quarter(9.0),
        "roof_inclination.in_space": _roof,
        "socket_radius": _radius,
        "joint_space.in_space.minimum": _smallest_space,
        "joint_space.in_space.mean": _surface_edges,
        "joint_space.in_space.by_hour": _space_at,
        "joint_congruence": _centers,
        "anterior_inferior_spine_to_rim": _spine_to_rim,
        "anterior_inferior_spine_level": _spine_level,
        "ischiofemoral_space.in_space": _ischiofemoral,
    }
)
"""What draws the construction of each entry."""
