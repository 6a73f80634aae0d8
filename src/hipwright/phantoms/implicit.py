"""Bones as fields: negative inside, positive outside, in mm from the surface.

A bone is easy to change as a field: two bodies become one by the smaller of two
numbers, a sphere is reamed out by the larger. The fields live on a grid whose
planes may stand close together near a joint and far apart elsewhere, so one grid,
and one closed surface without any seam, serves a whole bone.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold, Mesh
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.sparse import coo_array
from skimage.measure import marching_cubes

from hipwright.phantoms.distance_kernels import grow_distances, splat_distances, winding_numbers
from hipwright.phantoms.surfaces import TriangleSurface, directed_edges

Floats = NDArray[np.float64]
Field = NDArray[np.float32]

_AXES = 3
_FAIRING_PAIRS = 8
_FAIRING_STEPS = (0.5, -0.53)
_FAIRING_SETS_IN_MM = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Crossing planes: three rising lists of coordinates in mm."""

    x: Floats
    y: Floats
    z: Floats

    @property
    def axes(self) -> tuple[Floats, Floats, Floats]:
        """The three lists."""
        return self.x, self.y, self.z

    @property
    def shape(self) -> tuple[int, int, int]:
        """How many planes there are in each direction."""
        return len(self.x), len(self.y), len(self.z)

    def columns(self) -> tuple[Floats, Floats, Floats]:
        """Coordinates ready for broadcasting: ``(nx,1,1)``, ``(1,ny,1)``, ``(1,1,nz)``."""
        return self.x[:, None, None], self.y[None, :, None], self.z[None, None, :]

    def points(self) -> Floats:
        """Return every grid point, shape ``(nx, ny, nz, 3)``, mm."""
        return np.stack(np.meshgrid(*self.axes, indexing="ij"), axis=-1)

    def indices(self, points: Floats) -> Floats:
        """Return fractional grid indices of points ``(..., 3)`` in mm, same shape."""
        return np.stack(
            [
                np.interp(points[..., k], self.axes[k], np.arange(n))
                for k, n in enumerate(self.shape)
            ],
            axis=-1,
        )

    def every_second(self) -> "Grid":
        """Return the grid of every second plane."""
        return Grid(x=self.x[::2], y=self.y[::2], z=self.z[::2])

    def box(self, low: Floats, high: Floats) -> tuple[slice, slice, slice]:
        """Return the slices of the planes between two corners in mm."""
        slices = [
            slice(*(int(n) for n in np.searchsorted(axis, np.array([low[k], high[k]]))))
            for k, axis in enumerate(self.axes)
        ]
        return slices[0], slices[1], slices[2]

    def within(self, box: tuple[slice, slice, slice]) -> "Grid":
        """Return the part of the grid inside a box of slices."""
        return Grid(x=self.x[box[0]], y=self.y[box[1]], z=self.z[box[2]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ball:
    """A center and a radius, mm."""

    center: Floats
    radius: float


def graded_planes(
    low: float, high: float, fine: tuple[float, float], steps: tuple[float, float]
) -> Floats:
    """Place planes ``steps[0]`` mm apart in the fine stretch and up to ``steps[1]`` outside it."""
    near, far = steps
    planes: list[float] = np.arange(fine[0], fine[1] + near / 2, near).tolist()
    for sign, end in ((1.0, high), (-1.0, low)):
        at, step = (planes[-1] if sign > 0 else planes[0]), near
        side: list[float] = []
        while sign * at < sign * end:
            step = min(step * 1.12, far)
            at += sign * step
            side.append(at)
        planes = planes + side if sign > 0 else side[::-1] + planes
    return np.asarray(planes)


def graded_grid(
    points: Floats,
    *,
    center: Floats,
    reach: float,
    steps: tuple[float, float],
    margin: float = 4.0,
) -> Grid:
    """Make a grid around points ``(n, 3)`` that is fine within ``reach`` mm of a center."""
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    planes = [
        graded_planes(
            float(low[k]),
            float(high[k]),
            (float(center[k]) - reach, float(center[k]) + reach),
            steps,
        )
        for k in range(_AXES)
    ]
    return Grid(x=planes[0], y=planes[1], z=planes[2])


def even_grid(points: Floats, *, step: float, margin: float = 4.0) -> Grid:
    """Make an evenly spaced grid around points ``(n, 3)``, mm."""
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    planes = [np.arange(low[k], high[k] + step, step) for k in range(_AXES)]
    return Grid(x=planes[0], y=planes[1], z=planes[2])


def field_of(surface: TriangleSurface, grid: Grid, *, band: float) -> Field:
    """Return the signed distance to a closed surface, cut at ``±band`` mm."""
    distance = np.full(grid.shape, band, dtype=np.float32)
    splat_distances(surface.vertices, surface.faces, *grid.axes, distance, band)
    inside = winding_numbers(surface.vertices, surface.faces, *grid.axes) > 0
    distance[inside] *= -1.0
    return distance


def smoothed(field: Field, planes: float) -> Field:
    """Return the field blurred by a Gaussian with a standard deviation in grid planes."""
    return gaussian_filter(field, planes, truncate=3.0)


def union(one: Field, two: Field, blend: float | Field = 0.0) -> Field:
    """Return the field of both bodies, their seam filleted over ``blend`` mm.

    Where both surfaces run together a fillet lifts them by a quarter of ``blend``; so
    it may be given point by point.
    """
    both = np.minimum(one, two)
    width = np.maximum(np.float32(1e-6), np.float32(blend))
    near = np.maximum(width - np.abs(one - two), 0.0)
    return both - near * near * (np.float32(0.25) / width)


def common(one: Field, two: Field, blend: float = 0.0) -> Field:
    """Return the field of what both bodies share, its edge rounded over ``blend`` mm."""
    return -union(-one, -two, blend)


def without(body: Field, tool: Field, blend: float = 0.0) -> Field:
    """Return the field of a body after a tool has cut it, the edge rounded over ``blend`` mm."""
    return common(body, -tool, blend)


def capsule_field(grid: Grid, start: Floats, end: Floats, radius: float) -> Field:
    """Return the exact distance to a rod with round ends."""
    x, y, z = grid.columns()
    along = end - start
    length_squared = float(along @ along)
    relative = (x - start[0], y - start[1], z - start[2])
    share = sum(r * a for r, a in zip(relative, along, strict=True))
    share = (
        np.clip(share / length_squared, 0.0, 1.0) if length_squared > 0 else np.zeros(grid.shape)
    )
    squares = sum((r - share * a) ** 2 for r, a in zip(relative, along, strict=True))
    return (np.sqrt(squares) - radius).astype(np.float32)


def depths(field: Field, grid: Grid, *, deepest: float) -> Field:
    """Return true distances below the surface (negative inside), down to ``deepest`` mm.

    After cutting and joining, a field only says where the surface is; this measures
    how far every inner point is from it.
    """
    return grow_distances(field, *grid.axes, deepest)


def sample(field: Field, grid: Grid, points: Floats) -> Floats:
    """Return the field at points ``(..., 3)`` in mm, linearly between grid planes."""
    at = np.moveaxis(grid.indices(points), -1, 0)
    return map_coordinates(field, at, order=1, mode="nearest", output=np.float64)


def surface_of(
    field: Field, grid: Grid, *, tolerance: float = 0.0, exact: Ball | None = None
) -> TriangleSurface:
    """Return the closed surface where the field is zero.

    Parameters
    ----------
    tolerance
        How far, in mm, the surface may move to spare triangles; 0 keeps them all.
    exact
        Around it the surface is left as the field says; elsewhere the steps that the
        grid leaves on sharp edges are faired. ``None`` fairs nothing.
    """
    sealed = field.copy()
    for axis in range(_AXES):  # a body that reaches the end of the grid is closed there
        ends = np.moveaxis(sealed, axis, 0)
        ends[0] = np.maximum(ends[0], 0.5)
        ends[-1] = np.maximum(ends[-1], 0.5)
    at, faces, _, _ = marching_cubes(sealed, 0.0, allow_degenerate=False)
    vertices = np.stack(
        [np.interp(at[:, k], np.arange(n), grid.axes[k]) for k, n in enumerate(grid.shape)], axis=1
    )
    surface = TriangleSurface(vertices=vertices, faces=faces)
    return spared(surface if exact is None else faired(surface, exact), tolerance)


def faired(surface: TriangleSurface, exact: Ball) -> TriangleSurface:
    """Even out small steps without shrinking (Taubin's pairs), sparing a ball.

    The ball is left alone; over the next 4 mm fairing sets in.
    """
    vertices = surface.vertices
    edges = directed_edges(surface.faces)
    count = len(vertices)
    ones = np.ones(len(edges))
    links = coo_array((ones, (edges[:, 0], edges[:, 1])), shape=(count, count)).tocsr()
    share = 1.0 / np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1.0)
    beyond = np.linalg.norm(vertices - exact.center, axis=1) - exact.radius
    weight = np.clip(beyond / _FAIRING_SETS_IN_MM, 0.0, 1.0)[:, None]
    points = vertices
    for _ in range(_FAIRING_PAIRS):
        for step in _FAIRING_STEPS:
            points = points + step * weight * ((links @ points) * share[:, None] - points)
    return TriangleSurface(vertices=points, faces=surface.faces)


def spared(surface: TriangleSurface, tolerance: float) -> TriangleSurface:
    """Return the surface with fewer triangles, moved by at most ``tolerance`` mm."""
    mesh = Mesh(
        vert_properties=surface.vertices.astype(np.float32),
        tri_verts=surface.faces.astype(np.uint32),
    )
    solid = Manifold(mesh)
    if tolerance > 0.0:
        solid = solid.simplify(tolerance)
    out = solid.to_mesh()
    return TriangleSurface(
        vertices=np.asarray(out.vert_properties[:, :_AXES], dtype=np.float64),
        faces=np.asarray(out.tri_verts, dtype=np.int32),
    )


def joined(fields: Sequence[Field], blend: float) -> Field:
    """Return the field of several bodies joined one after another."""
    whole = fields[0]
    for body in fields[1:]:
        whole = union(whole, body, blend)
    return whole
