"""Build one femur around a head that is known exactly."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hipwright.phantoms.acetabular_form import ClockFrame
from hipwright.phantoms.femoral_axes import FemoralAxes, femoral_axes, reshaped, standing
from hipwright.phantoms.femoral_form import FemoralForm
from hipwright.phantoms.hip_bone_building import without_voids
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
)
from hipwright.phantoms.leveled_bones import FemurTemplate, sphere_through
from hipwright.phantoms.person_spec import HipSpec
from hipwright.phantoms.surfaces import TriangleSurface

Floats = NDArray[np.float64]

PROXIMAL_MM = 220.0
_BAND_MM = 3.6
_STEPS_MM = (0.8, 1.8)
_SPARING_MM = 0.03
_INNER_SPARING_MM = 0.06
_DEEPEST_MM = 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltFemur:
    """A femur built as a left one: head center at the origin, standing, knees forward."""

    outer: TriangleSurface
    inner: TriangleSurface
    form: FemoralForm
    axes: FemoralAxes
    model_vertices: Floats
    field: Field
    grid: Grid


def _cortex_mm(grid: Grid, radius: float, axes: FemoralAxes) -> Field:
    """Thin over the head, thicker along the neck, thick in the shaft and the calcar."""
    x, y, z = grid.columns()
    below = np.clip((-z / radius - 2.0) / 2.2, 0.0, 1.0)
    shaft = 4.4 * below * below * (3.0 - 2.0 * below)
    along = (x * axes.neck[0] + y * axes.neck[1] + z * axes.neck[2]) / radius
    neck = 0.8 * np.clip((along - 0.5) / 0.5, 0.0, 1.0)
    calcar = axes.isthmus + radius * np.array([-0.15, 0.1, -1.0])
    away = (x - calcar[0]) ** 2 + (y - calcar[1]) ** 2 + (0.6 * (z - calcar[2])) ** 2
    return (0.9 + shaft + neck + 2.2 * np.exp(-away / (0.5 * radius) ** 2)).astype(np.float32)


def build_femur(
    vertices: Floats,
    faces: NDArray[np.int32],
    template: FemurTemplate,
    spec: HipSpec,
    *,
    whole: bool = False,
) -> BuiltFemur:
    """Build the femur of a spec from a left femur of a shape model.

    Parameters
    ----------
    vertices, faces
        The model's left femur, mm.
    template
        Tells which vertices are the head.
    spec
        The hip to build.
    whole
        Down to the condyles; otherwise the proximal 220 mm, closed below.
    """
    center, native = sphere_through(vertices[template.head], vertices[template.head].mean(0), 23.0)
    radius = spec.head_radius_mm
    points = standing(vertices, center) * (radius / native)
    points = reshaped(
        points, faces, radius, version_deg=spec.version_deg, neck_shaft_deg=spec.neck_shaft_deg
    )
    axes = femoral_axes(points, faces, radius)
    form = FemoralForm(radius=radius, clock=ClockFrame.around(axes.neck), spec=spec)
    bottom = float(points[:, 2].min() if whole else radius - PROXIMAL_MM)
    kept = points[points[:, 2] > bottom - 1.0]
    grid = graded_grid(
        kept, center=0.6 * radius * axes.neck, reach=1.55 * radius, steps=_STEPS_MM, margin=5.0
    )
    field = smoothed(
        field_of(TriangleSurface(vertices=points, faces=faces), grid, band=_BAND_MM), 0.9
    )
    field = form.carved(field, grid)
    if not whole:
        below = (bottom - grid.z)[None, None, :].astype(np.float32)
        field = common(field, np.broadcast_to(below, grid.shape))
    field = without_voids(field)
    coarse = grid.every_second()
    deep = depths(np.ascontiguousarray(field[::2, ::2, ::2]), coarse, deepest=_DEEPEST_MM)
    inner = without_voids(deep + _cortex_mm(coarse, radius, axes))
    joint = Ball(center=np.zeros(3), radius=radius + 0.3)
    return BuiltFemur(
        outer=surface_of(field, grid, tolerance=_SPARING_MM, exact=joint),
        inner=surface_of(
            inner, coarse, tolerance=_INNER_SPARING_MM, exact=Ball(center=np.zeros(3), radius=0.0)
        ),
        form=form,
        axes=axes,
        model_vertices=points,
        field=field,
        grid=grid,
    )
