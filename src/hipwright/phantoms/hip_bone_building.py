"""Build one hip bone around a socket that is known exactly."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from hipwright.phantoms.acetabular_form import (
    AcetabularForm,
    ClockFrame,
    clock_window,
    fossa_share,
)
from hipwright.phantoms.implicit import (
    Ball,
    Field,
    Grid,
    common,
    depths,
    field_of,
    graded_grid,
    smoothed,
    surface_of,
    union,
    without,
)
from hipwright.phantoms.leveled_bones import PelvisTemplate, sphere_through
from hipwright.phantoms.person_spec import HipSpec
from hipwright.phantoms.surfaces import TriangleSurface

Floats = NDArray[np.float64]

BAND_MM = 3.6
_STEPS_MM = (0.8, 1.4)
_REACH_BEYOND_SOCKET_MM = 9.0
_SPARING_MM = 0.03
_INNER_SPARING_MM = 0.06

# An ordinary rim: where the articular sphere ends, degrees from the pole, hour by hour
# (judgment: read off the mean shape, then set so that wall indices are ordinary).
_EDGE_HOURS = np.arange(12.0)
_EDGE_DEG = np.array([77.0, 77.0, 74.0, 73.0, 78.0, 82.0, 84.0, 86.0, 75.0, 69.0, 73.0, 77.0])
_ROOF_HALF_HOURS = 3.0

_FOSSA_DEG = 31.0
_FOSSA_TOWARD = (-1.0, 0.6, -0.9)  # from the medial end of the sourcil to the middle of the fossa
_CREST_BEYOND_EDGE_DEG = 4.5
_WEDGE_BEYOND_EDGE_DEG = 7.5
_FOSSA_FLOOR_ENDS_DEG = 60.0
_WALL_MM = 4.5
_EDGE_WALL_MM = 2.6
_FOSSA_WALL_MM = 2.2
_RIM_ROUNDING_MM = 2.2
_LARGEST_WARP_DEG = 18.0
_CREST_WINDOW_HOURS = 0.35
_CUT_REACH_MM = 13.0  # bone farther from the socket is not its rim


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltHipBone:
    """A hip bone built as a left one, its form and its field."""

    outer: TriangleSurface
    inner: TriangleSurface
    form: AcetabularForm
    field: Field
    grid: Grid


def acetabular_axis(spec: HipSpec) -> Floats:
    """Return the unit vector out of the socket: lateral, forward and down."""
    inclination, anteversion = np.radians([spec.inclination_deg, spec.anteversion_deg])
    return np.array(
        [
            np.sin(inclination) * np.cos(anteversion),
            -np.sin(anteversion),
            -np.cos(inclination) * np.cos(anteversion),
        ]
    )


def sourcil_ends(spec: HipSpec, center: Floats) -> tuple[Floats, Floats]:
    """Return the lateral and medial end of the sourcil that the spec asks for, mm.

    Both lie on the socket's sphere, in the frontal plane through the head center.
    """
    head = center + np.asarray(spec.head_shift_mm)
    radius = spec.head_radius_mm + spec.joint_gap_mm
    middle = center[[0, 2]]
    circle = np.sqrt(radius**2 - spec.head_shift_mm[1] ** 2)
    edge = np.radians(spec.lateral_center_edge_deg)
    lateral = _to_circle(head[[0, 2]], np.array([np.sin(edge), np.cos(edge)]), middle, circle)
    roof = np.radians(spec.roof_angle_deg)
    away = np.array([-np.cos(roof), -np.sin(roof)])
    medial = lateral - 2.0 * float((lateral - middle) @ away) * away
    return (
        np.array([lateral[0], head[1], lateral[1]]),
        np.array([medial[0], head[1], medial[1]]),
    )


def _to_circle(start: Floats, direction: Floats, middle: Floats, radius: float) -> Floats:
    to_middle = middle - start
    along = float(to_middle @ direction)
    return start + (along + np.sqrt(along**2 - to_middle @ to_middle + radius**2)) * direction


def acetabular_form(spec: HipSpec, center: Floats) -> AcetabularForm:
    """Return the socket that the spec asks for, around a center in mm."""
    radius = spec.head_radius_mm + spec.joint_gap_mm
    clock = ClockFrame.around(acetabular_axis(spec))
    lateral, medial = sourcil_ends(spec, center)
    inward = (medial - center) / radius
    tangent = np.array(_FOSSA_TOWARD)
    tangent -= (tangent @ inward) * inward
    tangent /= np.linalg.norm(tangent)
    reach = np.radians(_FOSSA_DEG)
    form = AcetabularForm(
        center=center,
        radius=radius,
        clock=clock,
        edge_hours=_EDGE_HOURS,
        edge_deg=_EDGE_DEG,
        fossa_direction=np.cos(reach) * inward + np.sin(reach) * tangent,
        fossa_deg=_FOSSA_DEG,
    )
    _, angle, hour = form.polar(lateral)
    hours = np.arange(0.0, 12.0, 0.5)
    edge = np.degrees(form.edge(hours))
    for change in spec.rim_changes:
        edge = edge + change.degrees * clock_window(hours, change.hour, change.half_extent_hours)
    form = replace(form, edge_hours=hours, edge_deg=edge)
    for _ in range(6):  # a few rounds bring the smooth curve exactly through the lateral end
        missing = float(np.degrees(angle - form.edge(hour)))
        lift = missing * clock_window(hours, float(hour), _ROOF_HALF_HOURS)
        form = replace(form, edge_deg=form.edge_deg + lift)
    return form


def _native_crest(vertices: Floats, form: AcetabularForm) -> tuple[Floats, Floats]:
    """Return the angle from the pole of the bone's own rim at every half hour, rad."""
    distance, angle, hour = form.polar(vertices)
    near = (distance > 0.8 * form.radius) & (distance < form.radius + 7.0)
    hours = np.arange(0.0, 12.0, 0.5)
    crest = np.empty_like(hours)
    height = -np.cos(angle) * distance
    for k, h in enumerate(hours):
        here = near & (np.abs((hour - h + 6.0) % 12.0 - 6.0) < _CREST_WINDOW_HOURS)
        crest[k] = angle[here][height[here].argmax()] if here.any() else np.nan
    known = ~np.isnan(crest)
    crest = np.interp(hours, hours[known], crest[known], period=12.0)
    return hours, ndimage.gaussian_filter1d(crest, 1.0, mode="wrap")


def warped_to_rim(vertices: Floats, form: AcetabularForm) -> Floats:
    """Bend the bone around the socket until its own rim stands where the form's does."""
    hours, crest = _native_crest(vertices, form)
    distance, angle, hour = form.polar(vertices)
    own = np.interp(hour, np.append(hours, 12.0), np.append(crest, crest[0]))
    wanted = form.edge(hour) + np.radians(_CREST_BEYOND_EDGE_DEG)
    turn = np.clip(wanted - own, -np.radians(_LARGEST_WARP_DEG), np.radians(_LARGEST_WARP_DEG))
    across = (angle - own) * distance
    weight = np.exp(-((across / 13.0) ** 2) - ((distance - form.radius - 2.0) / 15.0) ** 2)
    weight *= 1.0 - clock_window(hour, 6.0, 1.6)
    pole_distance = np.sin(angle) * distance
    weight *= np.clip(pole_distance / (0.5 * form.radius), 0.0, 1.0)
    moved = np.pi - (angle + weight * turn)
    return form.center + distance[:, None] * form.clock.direction(moved, hour)


def _carved(field: Field, grid: Grid, form: AcetabularForm) -> Field:
    """Give the bone exactly the form's socket: first bone enough, then ream it."""
    reach = form.radius + _CUT_REACH_MM + 3.0
    box = grid.box(form.center - reach, form.center + reach)
    points = grid.within(box).points()
    distance, angle, hour = form.polar(points)
    past_edge = np.degrees(angle - form.edge(hour))
    inside = form.fossa_inside_deg(points)
    fossa = fossa_share(inside)
    wall = _EDGE_WALL_MM + (_WALL_MM - _EDGE_WALL_MM) * np.clip(-past_edge / 18.0, 0.0, 1.0)
    wall = wall + (_FOSSA_WALL_MM - wall) * fossa
    outside = distance - (form.radius + form.fossa_depth * fossa + wall)
    past_wedge = np.radians(past_edge - _WEDGE_BEYOND_EDGE_DEG) * form.radius
    in_notch = np.minimum(inside, np.degrees(angle) - _FOSSA_FLOOR_ENDS_DEG) * 0.4
    wedge = np.maximum(np.maximum(outside, past_wedge), in_notch).astype(np.float32)
    cavity = form.cavity_field(distance, past_edge, fossa)
    cavity = np.maximum(cavity, distance - form.radius - _CUT_REACH_MM).astype(np.float32)
    carved = field.copy()
    carved[box] = without(union(field[box], wedge, 3.0), cavity, _RIM_ROUNDING_MM)
    return carved


def without_voids(field: Field) -> Field:
    """Fill hollows that are closed off from the outside, and drop loose crumbs."""
    outside, _ = ndimage.label(field > 0.0)
    field = np.where((field > 0.0) & (outside != outside[0, 0, 0]), np.float32(-0.3), field)
    bodies, count = ndimage.label(field <= 0.0)
    if count > 1:
        largest = 1 + int(np.bincount(bodies.ravel())[1:].argmax())
        field = np.where((field <= 0.0) & (bodies != largest), np.float32(0.3), field)
    return field.astype(np.float32)


def _cortex_mm(grid: Grid, form: AcetabularForm) -> Field:
    """How thick the cortex is: thin everywhere, thick under the roof."""
    points = grid.points()
    distance, angle, hour = form.polar(points)
    up = (points[..., 2] - form.center[2]) / distance
    under_roof = np.clip((up - 0.35) / 0.45, 0.0, 1.0) * (
        1.0 - fossa_share(form.fossa_inside_deg(points))
    )
    before_edge = np.clip((form.edge(hour) - angle) * form.radius / 1.5, 0.0, 1.0)
    close = np.clip(1.0 - (distance - form.radius - 3.5) / 2.0, 0.0, 1.0)
    facing = np.clip(1.0 - (distance - form.radius - 1.8) / 2.0, 0.0, 1.0)
    roof = 2.0 * under_roof * before_edge * close
    plate = 0.5 * facing * before_edge
    return (1.25 + roof + plate).astype(np.float32)


def build_hip_bone(
    vertices: Floats,
    faces: NDArray[np.int32],
    template: PelvisTemplate,
    spec: HipSpec,
    *,
    symphysis_gap_mm: float,
) -> BuiltHipBone:
    """Build the hip bone of a spec from the leveled, scaled bone of a shape model.

    Parameters
    ----------
    vertices, faces
        The model's left hip bone, leveled and scaled, mm.
    template
        Tells which vertices are the socket.
    spec
        The hip to build.
    symphysis_gap_mm
        Left free between both pubic bones.
    """
    center, _ = sphere_through(vertices[template.socket], vertices[template.socket].mean(0), 24.0)
    form = acetabular_form(spec, center + 1.0 * acetabular_axis(spec))
    warped = TriangleSurface(vertices=warped_to_rim(vertices, form), faces=faces)
    grid = graded_grid(
        warped.vertices,
        center=form.center,
        reach=form.radius + _REACH_BEYOND_SOCKET_MM,
        steps=_STEPS_MM,
    )
    field = smoothed(field_of(warped, grid, band=BAND_MM), 0.9)
    field = _carved(field, grid, form)
    beyond_middle = (symphysis_gap_mm / 2 - grid.x)[:, None, None].astype(np.float32)
    field = common(field, np.broadcast_to(beyond_middle, grid.shape), 2.5)
    field = without_voids(field)
    coarse = grid.every_second()
    deep = depths(np.ascontiguousarray(field[::2, ::2, ::2]), coarse, deepest=8.0)
    inner = without_voids(deep + _cortex_mm(coarse, form))
    joint = Ball(center=form.center, radius=form.radius + 0.5)
    inside_joint = Ball(center=form.center, radius=form.radius)
    return BuiltHipBone(
        outer=surface_of(field, grid, tolerance=_SPARING_MM, exact=joint),
        inner=surface_of(inner, coarse, tolerance=_INNER_SPARING_MM, exact=inside_joint),
        form=form,
        field=field,
        grid=grid,
    )
