"""The constructions of the femur, drawn from the very arrays they were measured from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import cast

import numpy as np
from numpy.typing import NDArray

from hipwright.catalog import load
from hipwright.engines.anatomy.femur_in_space import VERSION_POINTS, FemurInSpace
from hipwright.engines.anatomy.femur_polar import around, polar_directions
from hipwright.engines.anatomy.hip_in_space import HipInSpace
from hipwright.engines.measurement.space_alpha import hour_of_largest_alpha
from hipwright.engines.measurement.space_construction import space_constructions
from hipwright.engines.measurement.space_drawing import DrawnLine, DrawnPoint, SpaceDrawing
from hipwright.engines.measurement.space_femur_access import square_part, unit
from hipwright.engines.measurement.space_femur_maps import at_hours, bump_mm, waist_mm
from hipwright.engines.measurement.space_version import condylar_axes

Floats = NDArray[np.float64]
Parts = tuple[Mapping[str, Floats], list[DrawnLine]]

ARM = 1.6
"""Helping lines are so many head radii long."""

_HEAD = "center of the head"
_ARC_SHARES = np.arange(0.0, 1.02, 0.05)
_ROUND = np.arange(0.0, 12.05, 0.1)
_PROFILE_DEG = np.arange(30.0, 121.0, 1.0)
_SPHERE_DEG = np.arange(0.0, 181.0, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Asked:
    """What is to be drawn: a value of a hip, at an hour where it is one of a series."""

    hip: HipInSpace
    femur: FemurInSpace
    definition: str
    hour: float


Maker = Callable[[_Asked], Parts]


def drawing_of_femur(
    definition: str, hip: HipInSpace, hour: float | None = None
) -> SpaceDrawing | None:
    """Draw how a value of the femur was constructed.

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
    if maker is None or hip.femur is None:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        points, lines = maker(
            _Asked(
                hip=hip,
                femur=hip.femur,
                definition=definition,
                hour=float("nan") if hour is None else hour,
            )
        )
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
    ways = unit(start) + _ARC_SHARES[:, None] * (unit(end) - unit(start))
    return DrawnLine(name="angle", points_mm=center + radius * unit(ways))


def _radius(femur: FemurInSpace) -> float:
    return float(femur.head_radius_mm)


def _ways(femur: FemurInSpace, angles_deg: Floats, hour: float) -> Floats:
    return polar_directions(femur.neck_axis, femur.clock_up, np.array([hour]), angles_deg)[0]


def _outline(femur: FemurInSpace, hour: float) -> DrawnLine:
    row = at_hours(femur.radial_mm, femur.hours, np.array([hour]), -2)[0]
    there = np.isfinite(row) & (femur.angles_deg >= _PROFILE_DEG[0])
    ways = _ways(femur, femur.angles_deg[there], hour)
    return DrawnLine(
        name="outline of the bone", points_mm=femur.head_center + row[there, None] * ways
    )


def _circle(femur: FemurInSpace, hour: float) -> DrawnLine:
    half = [_ways(femur, _SPHERE_DEG, h)[:: 1 if h == hour else -1] for h in (hour, hour + 6.0)]
    around_it = np.concatenate(half)
    return DrawnLine(
        name="sphere of the head",
        points_mm=femur.head_center + _radius(femur) * around_it,
        dashed=True,
    )


def _axis(femur: FemurInSpace) -> DrawnLine:
    end = femur.head_center + ARM * _radius(femur) * femur.neck_axis
    return _line("axis of the neck", femur.head_center, end, dashed=True)


def _alpha(asked: _Asked) -> Parts:
    femur = asked.femur
    parameters = dict(load().measurement("alpha_angle.radial").parameters)
    series = space_constructions()["alpha_angle.radial"].kernel
    alpha = float(series(asked.hip, hours=np.array([asked.hour]), **parameters)[0])
    way = _ways(femur, np.array([alpha]), asked.hour)[0]
    row = at_hours(femur.radial_mm, femur.hours, np.array([asked.hour]), -2)[0]
    reach = cast("Floats", np.interp(np.array([alpha]), femur.angles_deg, row))
    onset = femur.head_center + reach * way
    return {_HEAD: femur.head_center, "where the outline leaves the sphere": onset}, [
        _axis(femur),
        _line("to the onset", femur.head_center, onset),
        _arc(femur.head_center, femur.neck_axis, way, 0.6 * _radius(femur)),
        _outline(femur, asked.hour),
        _circle(femur, asked.hour),
    ]


def _largest_alpha(asked: _Asked) -> Parts:
    parameters = dict(load().measurement("alpha_angle.radial.maximum_hour").parameters)
    parameters["prominent_deg"] = 0.0
    at = float(hour_of_largest_alpha.kernel(asked.hip, **parameters))
    return _alpha(replace(asked, hour=at))


def _extent(asked: _Asked) -> Parts:
    femur = asked.femur
    parameters = dict(load().measurement(asked.definition).parameters)
    limit = float(parameters.pop("alpha_deg"))
    series = space_constructions()["alpha_angle.radial"].kernel
    alphas = series(asked.hip, hours=_ROUND, **parameters)
    ways = polar_directions(femur.neck_axis, femur.clock_up, _ROUND, np.array([limit]))[:, 0]
    ring = femur.head_center + _radius(femur) * ways
    over = np.flatnonzero(np.nan_to_num(alphas) > limit)
    runs = np.split(over, np.flatnonzero(np.diff(over) > 1) + 1)
    return {_HEAD: femur.head_center}, [
        _axis(femur),
        DrawnLine(name=f"{limit:.0f}° from the neck axis", points_mm=ring, dashed=True),
        *(
            DrawnLine(name="where alpha is larger", points_mm=ring[run])
            for run in runs
            if run.size
        ),
    ]


def _bump(asked: _Asked) -> Parts:
    femur = asked.femur
    parameters = dict(load().measurement("cam_height").parameters)
    heights = bump_mm(femur, **parameters)
    if not heights.max() > 0:
        return {_HEAD: femur.head_center}, [_axis(femur)]
    row, column = np.unravel_index(int(heights.argmax()), heights.shape)
    at = float(femur.hours[row])
    way = _ways(femur, femur.angles_deg[column : column + 1], at)[0]
    foot = femur.head_center + _radius(femur) * way
    top = foot + heights[row, column] * way
    return {"highest place": top, "on the sphere": foot}, [
        _line("height of the bump", foot, top),
        _outline(femur, at),
        _circle(femur, at),
    ]


def _sphere(asked: _Asked) -> Parts:
    femur = asked.femur
    top = femur.head_center + _radius(femur) * femur.clock_up
    return {_HEAD: femur.head_center}, [
        _line("radius", femur.head_center, top),
        *(_circle(femur, at) for at in (0.0, 3.0)),
    ]


def _residual(asked: _Asked) -> Parts:
    femur = asked.femur
    over = femur.radial_mm - femur.head_radius_mm
    over = np.where(np.isfinite(over) & (femur.angles_deg >= 70.0), over, -np.inf)  # noqa: PLR2004 (where the articulating part begins)
    row, column = np.unravel_index(int(over.argmax()), over.shape)
    way = _ways(femur, femur.angles_deg[column : column + 1], float(femur.hours[row]))[0]
    foot = femur.head_center + _radius(femur) * way
    return {"highest place": foot + over[row, column] * way, "on the sphere": foot}, [
        _circle(femur, float(femur.hours[row]))
    ]


def _waist(asked: _Asked) -> Parts:
    femur = asked.femur
    least = float(at_hours(waist_mm(femur), femur.hours, np.array([asked.hour]), -1)[0])
    row = at_hours(femur.neck_mm, femur.hours, np.array([asked.hour]), -2)[0]
    station = femur.stations_mm[int(np.nanargmin(np.abs(row - least)))]
    out = around(femur.neck_axis, femur.clock_up, np.array([asked.hour]))[0]
    foot = femur.head_center + station * femur.neck_axis
    lines = [_axis(femur), _line("waist", foot, foot + least * out), _outline(femur, asked.hour)]
    if asked.definition != "neck_waist.by_hour":
        top = femur.head_center + _radius(femur) * out
        far = station * femur.neck_axis
        lines += [
            _line("along the head", top, top + far, dashed=True),
            _line("offset", top + far, foot + least * out),
            _circle(femur, asked.hour),
        ]
    return {_HEAD: femur.head_center, "waist of the neck": foot + least * out}, lines


def _section(asked: _Asked) -> Parts:
    femur = asked.femur
    one = femur.neck_mm
    areas = (one * np.roll(one, -1, axis=0)).sum(axis=0)
    low, high = (share * _radius(femur) for share in (0.7, 1.6))
    inside = (femur.stations_mm > low) & (femur.stations_mm < high) & np.isfinite(areas)
    at = int(np.where(inside, areas, np.inf).argmin())
    ring = around(femur.neck_axis, femur.clock_up, femur.hours)
    foot = femur.head_center + femur.stations_mm[at] * femur.neck_axis
    places = foot + one[:, at, None] * ring
    closed = np.concatenate([places, places[:1]])
    return {_HEAD: femur.head_center}, [
        _axis(femur),
        DrawnLine(name="smallest section", points_mm=closed),
    ]


def _neck_shaft(asked: _Asked) -> Parts:
    femur = asked.femur
    isthmus = asked.definition.endswith("isthmus")
    neck = femur.neck_axis_isthmus if isthmus else femur.neck_axis
    reach = ARM * _radius(femur)
    base = femur.shaft_point
    low, high = base - 2.0 * reach * femur.shaft_axis, base + reach * femur.shaft_axis
    points = {_HEAD: femur.head_center}
    if isthmus:
        points["middle of the narrowest neck"] = femur.isthmus
    end = femur.head_center + 1.5 * reach * neck
    return points, [
        _line("axis of the neck", femur.head_center, end),
        _line("axis of the shaft", low, high),
    ]


def _offset(asked: _Asked) -> Parts:
    femur = asked.femur
    out = square_part(femur.shaft_point - femur.head_center, femur.shaft_axis)
    foot = femur.head_center + out
    reach = ARM * _radius(femur)
    return {_HEAD: femur.head_center}, [
        _line("axis of the shaft", foot - 2.0 * reach * femur.shaft_axis, foot),
        _line("offset", femur.head_center, foot),
    ]


def _trochanter(asked: _Asked) -> Parts:
    femur = asked.femur
    tip, up = femur.greater_trochanter, femur.shaft_axis
    level = tip - ((tip - femur.head_center) @ up) * up
    return {_HEAD: femur.head_center, "tip of the greater trochanter": tip}, [
        _line("level of the center", femur.head_center, level, dashed=True),
        _line("height of the tip", level, tip),
    ]


def _version(asked: _Asked) -> Parts:
    femur = asked.femur
    name = asked.definition.rsplit(".", 1)[1]
    reach = ARM * _radius(femur)
    if name in VERSION_POINTS:
        distal = femur.version_points[VERSION_POINTS.index(name)]
    else:
        distal = femur.head_center + reach * femur.neck_axis
    lateral, _, up = condylar_axes(femur)
    middle = femur.posterior_condyles.mean(axis=0)
    return {
        _HEAD: femur.head_center,
        "end of the neck line": distal,
        "back of the medial condyle": femur.posterior_condyles[0],
        "back of the lateral condyle": femur.posterior_condyles[1],
    }, [
        _line("neck line", distal, femur.head_center),
        _line("backs of the condyles", femur.posterior_condyles[0], femur.posterior_condyles[1]),
        _line(
            "the condyles' line, at the hip", distal, distal - 2.0 * reach * lateral, dashed=True
        ),
        _line("long axis", middle, middle + ((femur.shaft_point - middle) @ up) * up, dashed=True),
    ]


def _torsion(asked: _Asked) -> Parts:
    femur = asked.femur
    plateau, ankle = femur.tibial_condyles, femur.malleoli
    return {"medial malleolus": ankle[0], "lateral malleolus": ankle[1]}, [
        _line("back of the tibial plateau", plateau[0], plateau[1]),
        _line("line of the malleoli", ankle[0], ankle[1]),
        _line("along the shank", plateau.mean(axis=0), ankle.mean(axis=0), dashed=True),
    ]


DRAWINGS: Mapping[str, Maker] = MappingProxyType(
    {
        "head_radius": _sphere,
        "head_sphericity.rms": _sphere,
        "head_residual.maximum": _residual,
        "alpha_angle.radial": _alpha,
        "alpha_angle.radial.maximum": _largest_alpha,
        "alpha_angle.radial.maximum_hour": _largest_alpha,
        "cam_extent.at_55": _extent,
        "cam_extent.at_60": _extent,
        "cam_height": _bump,
        "cam_volume": _bump,
        "head_neck_offset.by_hour": _waist,
        "head_neck_offset_ratio.by_hour": _waist,
        "neck_waist.by_hour": _waist,
        "neck_section_area": _section,
        "neck_shaft_angle.in_space": _neck_shaft,
        "neck_shaft_angle.in_space_isthmus": _neck_shaft,
        "neck_shaft_angle.in_space_frontal": _neck_shaft,
        "femoral_offset.in_space": _offset,
        "trochanter_height": _trochanter,
        **{f"femoral_version.{name}": _version for name in VERSION_POINTS},
        "femoral_version.neck_axis": _version,
        "femoral_version.oblique_slice": _version,
        "combined_version.murphy": _version,
        "tibial_torsion": _torsion,
    }
)
"""How each entry of the femur is drawn."""
